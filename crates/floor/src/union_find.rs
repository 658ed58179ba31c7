//! Disjoint sets.

/// Disjoint sets over `0..n`, with path halving and union by size.
pub(crate) struct UnionFind {
    parent: Vec<usize>,
    size: Vec<usize>,
}

impl UnionFind {
    pub(crate) fn new(n: usize) -> Self {
        Self { parent: (0..n).collect(), size: vec![1; n] }
    }

    /// The representative of the set of `item`; `item` itself if it is out of range.
    pub(crate) fn find(&mut self, mut item: usize) -> usize {
        while let Some(&parent) = self.parent.get(item).filter(|parent| **parent != item) {
            let grandparent = self.parent.get(parent).copied().unwrap_or(parent);
            if let Some(slot) = self.parent.get_mut(item) {
                *slot = grandparent;
            }
            item = parent;
        }
        item
    }

    pub(crate) fn union(&mut self, a: usize, b: usize) {
        let (a, b) = (self.find(a), self.find(b));
        if a == b {
            return;
        }
        let size = |item: usize| self.size.get(item).copied().unwrap_or(0);
        let (large, small, sum) =
            if size(a) >= size(b) { (a, b, size(a) + size(b)) } else { (b, a, size(a) + size(b)) };
        if let (Some(slot), Some(total)) = (self.parent.get_mut(small), self.size.get_mut(large)) {
            (*slot, *total) = (large, sum);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn chains_become_one_set() {
        let mut sets = UnionFind::new(6);
        sets.union(0, 1);
        sets.union(2, 3);
        sets.union(1, 2);
        assert_eq!(sets.find(0), sets.find(3));
        assert_ne!(sets.find(0), sets.find(4));
        assert_ne!(sets.find(4), sets.find(5));
        assert_eq!(sets.find(17), 17);
    }
}
