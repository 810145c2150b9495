//! Names of files as results and sidecars write them.
//!
//! A file's name need not be text: on most systems it is bytes, and cards and archives of other systems leave some that are no UTF-8. Such
//! a byte is written as `�` (U+FFFD) and its two hexadecimal digits: `caf\xe9.jpg` as `caf�E9.jpg`. The three bytes of a `�` that stands in a
//! name itself are written so too, so that no two files are ever called the same, and [`meant`] finds the way back.

use std::borrow::Cow;
use std::ffi::OsStr;
use std::fmt::Write;
#[cfg(feature = "pictures")]
use std::path::Path;

const ESCAPE: char = '\u{fffd}';

/// A name as text: itself in all but odd cases.
pub(crate) fn shown(name: &OsStr) -> Cow<'_, str> {
    if let Some(text) = name.to_str().filter(|t| !t.contains(ESCAPE)) {
        return Cow::Borrowed(text);
    }
    let mut text = String::new();
    let escape = |text: &mut String, bytes: &[u8]| {
        for byte in bytes {
            // Writing to a string cannot fail.
            let _ = write!(text, "{ESCAPE}{byte:02X}");
        }
    };
    for chunk in name.as_encoded_bytes().utf8_chunks() {
        for c in chunk.valid().chars() {
            match c {
                ESCAPE => escape(&mut text, "\u{fffd}".as_bytes()),
                c => text.push(c),
            }
        }
        escape(&mut text, chunk.invalid());
    }
    Cow::Owned(text)
}

/// What the name of a JPEG made of a photo has behind the photo's: nothing where that is a JPEG's; else `.jpg`, as often as keeps it
/// apart from the photos beside it (`a.png`, `a.jpg` and `a.png.jpg` may lie side by side).
#[cfg(feature = "pictures")]
pub(super) fn as_jpeg(photo: &Path) -> String {
    let mut behind = String::new();
    let mut name = photo.as_os_str().to_owned();
    let is_jpeg = |name: &OsStr| {
        let ending = Path::new(name).extension().map(OsStr::to_ascii_lowercase);
        ending.is_some_and(|e| e == "jpg" || e == "jpeg")
    };
    while !is_jpeg(&name) || (!behind.is_empty() && Path::new(&name).symlink_metadata().is_ok()) {
        behind += ".jpg";
        name.push(".jpg");
    }
    behind
}

/// The bytes of the name that is shown so.
#[cfg(test)]
pub(crate) fn meant(text: &str) -> Vec<u8> {
    let mut parts = text.split(ESCAPE);
    let mut bytes = parts.next().unwrap_or_default().as_bytes().to_vec();
    for part in parts {
        let (digits, rest) = part.split_at_checked(2).unwrap_or((part, ""));
        bytes.extend(u8::from_str_radix(digits, 16).ok());
        bytes.extend(rest.as_bytes());
    }
    bytes
}

/// The name without an ending that it has; `None` where it has another.
pub(super) fn without<'a>(name: &'a OsStr, ending: &str) -> Option<&'a OsStr> {
    if !name.as_encoded_bytes().ends_with(ending.as_bytes()) {
        return None;
    }
    // Each dot of the ending begins what `file_stem` takes off.
    let dots = ending.bytes().filter(|b| *b == b'.').count();
    (0..dots).try_fold(name, |name, _| std::path::Path::new(name).file_stem())
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::os::unix::ffi::OsStrExt;

    #[test]
    fn names_that_are_text_stay_and_others_are_told_apart() {
        let of = |bytes: &'static [u8]| shown(OsStr::from_bytes(bytes)).into_owned();
        assert_eq!(of(b"LF side.jpg"), "LF side.jpg");
        assert_eq!(of("Pferdehuf größer.jpg".as_bytes()), "Pferdehuf größer.jpg");
        assert_eq!(of(b"caf\xe9.jpg"), "caf\u{fffd}E9.jpg");
        assert_eq!(of(b"caf\xe8.jpg"), "caf\u{fffd}E8.jpg");
        assert_eq!(of("caf\u{fffd}E8.jpg".as_bytes()), "caf\u{fffd}EF\u{fffd}BF\u{fffd}BDE8.jpg");
    }

    #[test]
    fn an_ending_is_taken_off() {
        let of = |name: &'static [u8]| without(OsStr::from_bytes(name), ".hoof.json").map(OsStr::as_bytes);
        assert_eq!(of(b"a\xff.jpg.hoof.json"), Some(&b"a\xff.jpg"[..]));
        assert_eq!(of(b"visit.hoof.json"), Some(&b"visit"[..]));
        assert_eq!(of(b"a.jpg.json"), None);
        assert_eq!(of(b".hoof.json"), Some(&b".hoof"[..]));
    }

    proptest! {
        #[test]
        fn the_way_back_is_found(bytes in prop::collection::vec(prop_oneof![any::<u8>(), Just(0xef), Just(0xbf), Just(0xbd)], 0..12)) {
            prop_assert_eq!(meant(&shown(OsStr::from_bytes(&bytes))), bytes);
        }
    }
}
