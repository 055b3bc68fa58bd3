//! Many inputs at once, results in the order of the inputs.
use std::any::Any;
use std::collections::BTreeMap;
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::{Mutex, mpsc};
use std::thread;

/// Results that may wait for their turn, for each worker. Bounded, so that one slow clip among
/// thousands does not make all the others wait in memory.
const WAITING: usize = 4;

/// Does `work` on each input, as many at a time as there are cores, and hands the results to `done`
/// in the order of the inputs, until that says to stop.
pub fn in_order<I: Sync, T: Send>(
    inputs: &[I],
    work: impl Fn(&I) -> T + Sync,
    mut done: impl FnMut(T) -> ControlFlow<()>,
) {
    let workers = thread::available_parallelism()
        .map_or(1, usize::from)
        .min(inputs.len());
    // A ticket is the number of an input that may be begun.
    let (tickets, begun) = mpsc::channel::<usize>();
    let begun = Mutex::new(begun);
    let (results, finished) = mpsc::channel::<(usize, Result<T, Box<dyn Any + Send>>)>();
    let next_ticket = || begun.lock().ok().and_then(|tickets| tickets.recv().ok());
    let mut unbegun = 0..inputs.len();
    for ticket in unbegun.by_ref().take(workers * WAITING) {
        // The other end is alive: it is borrowed by this function.
        let _ = tickets.send(ticket);
    }
    let mut panicked = None;
    thread::scope(|scope| {
        for _ in 0..workers {
            let results = results.clone();
            let (work, next_ticket) = (&work, &next_ticket);
            scope.spawn(move || {
                while let Some(at) = next_ticket() {
                    let result = catch_unwind(AssertUnwindSafe(|| work(&inputs[at])));
                    if results.send((at, result)).is_err() {
                        break;
                    }
                }
            });
        }
        drop(results);
        let tickets = tickets;
        let finished = finished;
        let mut waiting = BTreeMap::new();
        let mut next = 0;
        while next < inputs.len() {
            let Ok((at, result)) = finished.recv() else {
                return;
            };
            waiting.insert(at, result);
            while let Some(result) = waiting.remove(&next) {
                next += 1;
                if let Some(ticket) = unbegun.next() {
                    let _ = tickets.send(ticket);
                }
                match result {
                    Ok(result) => {
                        if done(result).is_break() {
                            return;
                        }
                    }
                    Err(panic) => {
                        panicked = Some(panic);
                        return;
                    }
                }
            }
        }
    });
    if let Some(panic) = panicked {
        resume_unwind(panic);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};
    use std::time::Duration;

    #[test]
    fn results_come_in_the_order_of_the_inputs_whatever_the_timing() {
        let inputs: Vec<u64> = (0..200).collect();
        let mut seen = vec![];
        let late = |i: &u64| {
            // The first of every ten is by far the slowest.
            thread::sleep(Duration::from_micros(if i.is_multiple_of(10) {
                3_000
            } else {
                10
            }));
            *i
        };
        in_order(&inputs, late, |i| {
            seen.push(i);
            ControlFlow::Continue(())
        });
        assert_eq!(seen, inputs);
    }

    #[test]
    fn few_results_wait_and_few_are_begun_after_a_stop() {
        let begun = AtomicUsize::new(0);
        let inputs = vec![(); 10_000];
        let mut done = 0;
        in_order(
            &inputs,
            |()| begun.fetch_add(1, Ordering::Relaxed),
            |_| {
                done += 1;
                if done == 3 {
                    ControlFlow::Break(())
                } else {
                    ControlFlow::Continue(())
                }
            },
        );
        let cores = thread::available_parallelism().map_or(1, usize::from);
        assert_eq!(done, 3);
        assert!(begun.load(Ordering::Relaxed) <= cores * WAITING + 3);
    }

    #[test]
    fn no_inputs_no_work() {
        in_order(&[] as &[u8], |_| (), |()| ControlFlow::Continue(()));
    }

    #[test]
    fn a_panic_ends_the_run_instead_of_blocking_it() {
        let inputs: Vec<u32> = (0..100).collect();
        let run = catch_unwind(AssertUnwindSafe(|| {
            in_order(
                &inputs,
                |i| assert_ne!(*i, 20, "on purpose"),
                |()| ControlFlow::Continue(()),
            );
        }));
        assert!(run.is_err());
    }
}
