//! One way through many photos: worked on by every core, handed on in their order, a few at a time.

use crate::error::Result;
use rayon::prelude::*;
use std::sync::mpsc::sync_channel;

/// Works on items, `batch` of them at a time, on every core, and hands on what was made of each in their order. While `each` writes
/// down one batch, the next is in work; memory is that of two.
///
/// # Errors
/// The first of `each`; nothing is worked on behind it but what was in work.
pub(crate) fn in_order<I: Send, T: Send>(
    items: impl Iterator<Item = I> + Send,
    batch: usize,
    work: &(dyn Fn(I) -> T + Sync),
    each: &mut dyn FnMut(T) -> Result<()>,
) -> Result<()> {
    std::thread::scope(|scope| {
        let (done, ready) = sync_channel(0);
        scope.spawn(move || {
            let mut items = items;
            loop {
                let some: Vec<I> = items.by_ref().take(batch).collect();
                if some.is_empty() {
                    break;
                }
                let made: Vec<T> = some.into_par_iter().map(work).collect();
                // The receiver is gone where `each` has failed.
                if done.send(made).is_err() {
                    break;
                }
            }
        });
        ready.into_iter().flatten().try_for_each(each)
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::error::{Error, ErrorKind};
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn the_order_stays_and_an_error_ends_it() {
        let mut seen = Vec::new();
        in_order(0..1000, 7, &|i| i * 2, &mut |i| {
            seen.push(i);
            Ok(())
        })
        .unwrap();
        assert!(seen.iter().copied().eq((0..1000).map(|i| i * 2)));
        let worked_on = AtomicUsize::new(0);
        let count = |i: usize| {
            worked_on.fetch_add(1, Ordering::Relaxed);
            i
        };
        let stop = |i| if i == 3 { Err(Error::new(ErrorKind::Usage, "enough")) } else { Ok(()) };
        assert!(in_order(0..1_000_000, 5, &count, &mut { stop }).is_err());
        assert!(worked_on.into_inner() <= 20);
    }
}
