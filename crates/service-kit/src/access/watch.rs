//! Whether files have changed.

use std::path::PathBuf;
use std::time::SystemTime;

/// Some files, as they were when they were last looked at.
#[derive(Debug)]
pub(crate) struct Files {
    paths: Vec<PathBuf>,
    seen: Vec<Option<(SystemTime, u64)>>,
}

impl Files {
    pub(crate) fn of(paths: Vec<PathBuf>) -> Self {
        let seen = look(&paths);
        Self { paths, seen }
    }

    /// Whether any has changed since the last look: its time of change or its length. Files of keys are replaced as a whole,
    /// often behind a symbolic link, so the file that the path leads to now is what counts.
    pub(crate) fn changed(&mut self) -> bool {
        let now = look(&self.paths);
        let changed = now != self.seen;
        self.seen = now;
        changed
    }
}

fn look(paths: &[PathBuf]) -> Vec<Option<(SystemTime, u64)>> {
    paths
        .iter()
        .map(|path| {
            let found = std::fs::metadata(path).ok()?;
            Some((found.modified().ok()?, found.len()))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_seen_once() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("tokens.toml");
        let mut files = Files::of(vec![path.clone()]);
        assert!(!files.changed());
        std::fs::write(&path, "a").unwrap();
        assert!(files.changed());
        assert!(!files.changed());
        std::fs::write(&path, "ab").unwrap();
        assert!(files.changed());
        std::fs::remove_file(&path).unwrap();
        assert!(files.changed());
    }
}
