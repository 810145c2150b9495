//! The tests, by what they look at.

mod bad_days;
mod contract;
mod folders;
mod hostile;
mod lenses;
mod limits;
mod quality;
mod rectify;
mod results;
mod review;
#[cfg(unix)]
mod signals;
mod words;

use crate::visits::Folder;

/// A visit of two good photos; the natural order puts `IMG_2` first.
fn two_good() -> Folder {
    let folder = Folder::new();
    folder.good("IMG_10.jpg");
    folder.good("IMG_2.jpg");
    folder
}
