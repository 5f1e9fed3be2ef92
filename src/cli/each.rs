//! The same work for several files, on all cores; results in the order of the files.

use std::panic::resume_unwind;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

/// Does the work for each; `seen` hears how many are done, as they are.
pub(super) fn each<I: Sync, T: Send>(
    items: &[I],
    work: impl Fn(&I) -> T + Sync,
    mut seen: impl FnMut(usize),
) -> Vec<T> {
    let threads = thread::available_parallelism().map_or(1, usize::from);
    let next = AtomicUsize::new(0);
    let (send, receive) = mpsc::channel();
    let mut done: Vec<(usize, T)> = thread::scope(|scope| {
        let workers: Vec<_> = (0..threads.min(items.len()))
            .map(|_| {
                let (send, next, work) = (send.clone(), &next, &work);
                scope.spawn(move || {
                    while let Some((at, item)) = taken(items, next) {
                        // The receiver lives as long as there are senders.
                        let _ = send.send((at, work(item)));
                    }
                })
            })
            .collect();
        drop(send);
        let mut done = Vec::with_capacity(items.len());
        for one in receive {
            done.push(one);
            seen(done.len());
        }
        for worker in workers {
            worker.join().unwrap_or_else(|why| resume_unwind(why));
        }
        done
    });
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

fn taken<'a, I>(items: &'a [I], next: &AtomicUsize) -> Option<(usize, &'a I)> {
    let at = next.fetch_add(1, Ordering::Relaxed);
    items.get(at).map(|item| (at, item))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn results_keep_the_order_of_the_files() {
        let items: Vec<u64> = (0..50).collect();
        let mut seen = Vec::new();
        let squares = each(&items, |item| item * item, |done| seen.push(done));
        assert_eq!(
            squares,
            items.iter().map(|item| item * item).collect::<Vec<_>>()
        );
        assert_eq!(seen, (1..=50).collect::<Vec<_>>());
        assert!(each(&[] as &[u64], |item| *item, |_| {}).is_empty());
    }
}
