//! The order in which a folder's photos are worked on, named and written: natural, folder by folder.

use std::cmp::Ordering;
use std::iter::Peekable;
use std::str::Chars;

/// Compares two file names as people read them: runs of digits count as numbers (`IMG_2` before `IMG_10`), capitals as small letters.
/// Names that differ in nothing else are told apart by their bytes, so that the order is total.
pub(crate) fn natural(a: &str, b: &str) -> Ordering {
    let (mut left, mut right) = (a.chars().peekable(), b.chars().peekable());
    loop {
        let order = match (left.peek().copied(), right.peek().copied()) {
            (None, None) => return a.cmp(b),
            (None, Some(_)) => Ordering::Less,
            (Some(_), None) => Ordering::Greater,
            (Some(x), Some(y)) if x.is_ascii_digit() && y.is_ascii_digit() => {
                let (x, y) = (number(&mut left), number(&mut right));
                x.len().cmp(&y.len()).then_with(|| x.cmp(&y))
            }
            // A number stands where its digits do among the characters.
            (Some(x), Some(y)) => {
                left.next();
                right.next();
                let place = |c: char| if c.is_ascii_digit() { '0' } else { c };
                place(x).to_lowercase().cmp(place(y).to_lowercase())
            }
        };
        if order != Ordering::Equal {
            return order;
        }
    }
}

/// The digits that come next, without zeros before them.
fn number(chars: &mut Peekable<Chars<'_>>) -> String {
    let mut digits = String::new();
    while let Some(c) = chars.next_if(char::is_ascii_digit) {
        if !(digits.is_empty() && c == '0') {
            digits.push(c);
        }
    }
    digits
}

/// Compares two paths with forward slashes in the order of the walk: folder by folder, a folder before what it holds.
pub(crate) fn walk_order(a: &str, b: &str) -> Ordering {
    let (mut left, mut right) = (a.split('/'), b.split('/'));
    loop {
        let order = match (left.next(), right.next()) {
            (None, None) => return Ordering::Equal,
            (None, Some(_)) => Ordering::Less,
            (Some(_), None) => Ordering::Greater,
            (Some(x), Some(y)) => natural(x, y),
        };
        if order != Ordering::Equal {
            return order;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_count_as_numbers() {
        let mut names = ["b", "IMG_10.jpg", "img_2.jpg", "IMG_02.jpg", "a/10", "a/9", "a", "a.jpg", "a1.jpg"];
        names.sort_by(|a, b| walk_order(a, b));
        assert_eq!(names, ["a", "a/9", "a/10", "a.jpg", "a1.jpg", "b", "IMG_02.jpg", "img_2.jpg", "IMG_10.jpg"]);
    }

    proptest! {
        /// Sorting and merging rest on a total order.
        #[test]
        fn the_order_is_total(mut names in prop::collection::vec("[aA0019._ é-]{0,6}", 3)) {
            for (a, b) in [(0, 1), (1, 2), (0, 2)] {
                let (a, b) = (&names[a], &names[b]);
                prop_assert_eq!(natural(a, b), natural(b, a).reverse());
                prop_assert_eq!(natural(a, b) == Ordering::Equal, a == b);
            }
            names.sort_by(|a, b| natural(a, b));
            prop_assert!(natural(&names[0], &names[2]) != Ordering::Greater);
        }
    }
}
