//! Which wires stay on the reel positions from phase to phase.

use std::collections::BTreeMap;

use crate::best::random::Random;
use crate::model::Problem;

use super::bound::ChangeBound;
use super::course::Course;

/// Steps of simulation that the search may cost, about.
const MOST_WORK: usize = 400_000;
/// Most courses that are tried.
const MOST_TRIALS: usize = 1_000;
/// Serials that are more than can be searched for.
const MOST_SERIALS: usize = 2_000;
/// How far the need of a wire may be put off, in places.
const MOST_DELAY: usize = 24;

/// For the first serial of each phase the wires that should stay on afterwards, sorted.
pub(in crate::best) type Kept = BTreeMap<usize, Vec<usize>>;

/// Tries many courses as if each wire were on one coil without end, and returns what the one with the fewest mountings keeps.
///
/// What is needed soonest is kept, which is the best for one serial at a time; nothing is said then. With several at a time
/// a wire that is kept may save no stop. So the needs of some wires in some phases are put off at random, and what does no
/// harm stays.
pub(super) fn best_kept(problem: &Problem, course: &Course) -> Kept {
    let places = course.places();
    let serials = places.iter().flatten().max().map_or(0, |last| last + 1);
    let positions = problem.station.reel_positions as usize;
    if course.at_a_time() == 1 || positions >= places.len() || serials > MOST_SERIALS {
        return Kept::new();
    }
    let needs: usize = places.iter().map(Vec::len).sum();
    let trials = (MOST_WORK / (needs + places.len()).max(1)).min(MOST_TRIALS);
    let mut random = Random::new(1);
    let mut delays = vec![0; serials * places.len()];
    let (mut least, _) = simulate(problem, course.at_a_time(), &places, &delays);
    let mut best = Kept::new();
    let whole = vec![true; problem.serials as usize];
    let bound = ChangeBound::new(problem, &whole).least(&[]);
    for _ in 0..trials {
        if i64::try_from(least).is_ok_and(|least| least <= bound) {
            break;
        }
        let changes: Vec<(usize, usize)> = (0..=random.below(4))
            .map(|_| {
                let at = random.below(delays.len());
                (at, std::mem::replace(&mut delays[at], random.below(MOST_DELAY)))
            })
            .collect();
        let (mountings, kept) = simulate(problem, course.at_a_time(), &places, &delays);
        if mountings < least {
            best = kept;
        }
        if mountings <= least {
            least = mountings;
        } else {
            for (at, before) in changes.into_iter().rev() {
                delays[at] = before;
            }
        }
    }
    best
}

/// Runs a course, with delays for each first serial and wire; returns the number of mountings and what is kept.
fn simulate(problem: &Problem, at_a_time: usize, places: &[Vec<usize>], delays: &[usize]) -> (usize, Kept) {
    let positions = problem.station.reel_positions as usize;
    let mut next = vec![0; places.len()];
    let mut on: Vec<usize> = Vec::new();
    for coil in problem.coils.iter().filter(|coil| coil.mounted_at.is_some()) {
        if !on.contains(&coil.wire.index()) {
            on.push(coil.wire.index());
        }
    }
    let mut mountings = 0;
    let mut kept = Kept::new();
    let front = |next: &[usize], w: usize| places[w].get(next[w]).copied();
    while let Some(first) = (0..places.len()).filter_map(|w| front(&next, w)).min() {
        let fresh: Vec<usize> =
            (0..places.len()).filter(|w| front(&next, *w) == Some(first) && !on.contains(w)).collect();
        mountings += fresh.len();
        for w in on.iter().chain(&fresh) {
            while front(&next, *w).is_some_and(|place| place < first + at_a_time) {
                next[*w] += 1;
            }
        }
        let mut wanted: Vec<(usize, bool, usize)> = on
            .iter()
            .map(|w| (*w, false))
            .chain(fresh.iter().map(|w| (*w, true)))
            .map(|(w, is_fresh)| {
                let place = front(&next, w).map_or(usize::MAX / 2, |place| place);
                (place + delays[first * places.len() + w], is_fresh, w)
            })
            .collect();
        wanted.sort_unstable();
        // The last one that was put on is still on.
        let fits = wanted.iter().take(positions).any(|(_, is_fresh, _)| *is_fresh);
        if !fresh.is_empty()
            && !fits
            && wanted.len() > positions
            && let Some(at) = wanted.iter().position(|(_, is_fresh, _)| *is_fresh)
        {
            wanted.swap(positions - 1, at);
        }
        wanted.truncate(positions);
        on = wanted.into_iter().map(|(_, _, w)| w).collect();
        let mut stay = on.clone();
        stay.sort_unstable();
        kept.insert(first, stay);
    }
    (mountings, kept)
}
