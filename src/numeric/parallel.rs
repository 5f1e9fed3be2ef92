//! The same work for several things, on all cores; results in the order of the things.

use std::panic::resume_unwind;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// Does the work for each; `seen` hears how many are done, as they are.
pub fn each<I: Sync, T: Send>(
    items: &[I],
    work: impl Fn(&I) -> T + Sync,
    seen: impl Fn(usize) + Sync,
) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let (next, finished) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let worker = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(item) = items.get(at) else {
                return done;
            };
            done.push((at, work(item)));
            seen(1 + finished.fetch_add(1, Ordering::Relaxed));
        }
    };
    let mut done: Vec<(usize, T)> = thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.min(items.len()))
            .map(|_| scope.spawn(worker))
            .collect();
        let results = workers.into_iter().map(thread::ScopedJoinHandle::join);
        results
            .flat_map(|result| result.unwrap_or_else(|why| resume_unwind(why)))
            .collect()
    });
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_the_order_of_what_they_are_of() {
        let items: Vec<u64> = (0..50).collect();
        let heard = AtomicUsize::new(0);
        let squares = each(
            &items,
            |item| item * item,
            |_| {
                heard.fetch_add(1, Ordering::Relaxed);
            },
        );
        let expected: Vec<u64> = items.iter().map(|item| item * item).collect();
        assert_eq!(squares, expected);
        assert_eq!(heard.into_inner(), 50);
        assert!(each(&[] as &[u64], |item| *item, |_| {}).is_empty());
    }
}
