//! Files that are opened by name: regular files alone, of a limited size.
//!
//! A name that somebody else has chosen (a visit received from a colleague, a profile that a sidecar names) may lead to a pipe, a device
//! or a file without end. Everything that is read by name is read here: nothing waits for the other end of a pipe, and nothing takes more
//! memory than [`FileKind::most_bytes`] says.

use crate::error::{Error, ErrorKind, Result};
use std::fs::{File, FileType};
use std::io::{self, Read};
use std::path::Path;

/// What a file is read as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum FileKind {
    /// A photo.
    Photo,
    /// A photo's sidecar.
    Sidecar,
    /// What the sidecars of a folder share.
    Visit,
    /// What the page keeps beside a sidecar.
    Draft,
    /// A lens profile.
    LensProfile,
    /// A file of the lens database.
    LensDatabase,
    /// Intrinsics that another program has calibrated.
    Calibration,
    /// Limits that values are held against.
    Rules,
    /// A table of placement uncertainties.
    Placement,
    /// Landmarks in another program's format.
    Landmarks,
    /// A template of a report.
    Template,
    /// A page or a picture that this library has written.
    Written,
    /// A line of a journal, a manifest or of results; the file itself is read line by line and may have any size.
    ResultLine,
}

/// A kind of file, what is said where one cannot be read, the most bytes it may have, and what to do where it has more.
struct Limit {
    kind: FileKind,
    called: &'static str,
    unread: &'static str,
    most: u64,
    help: &'static str,
}

const NOT_OURS: &str = "is it the right file? put the one that was meant in its place";

/// Every limit. All chosen: a hundred times what is usual and more, small against any machine's memory.
const LIMITS: [Limit; 13] = {
    const fn row(kind: FileKind, called: &'static str, unread: &'static str, most: u64, help: &'static str) -> Limit {
        Limit { kind, called, unread, most, help }
    }
    use FileKind as K;
    [
        // With what decoding takes beside it, memory for a photo of 50 megapixels stays within 500 MB.
        row(K::Photo, "a photo", "cannot open the file", 480_000_000, "export a very large photo as JPEG"),
        row(K::Sidecar, "a sidecar", "cannot be read", 4 << 20, NOT_OURS),
        row(K::Visit, "a visit file", "cannot be read", 4 << 20, NOT_OURS),
        row(K::Draft, "a draft of the page", "cannot be read", 32 << 20, NOT_OURS),
        row(K::LensProfile, "a lens profile", "the lens profile cannot be read", 4 << 20, NOT_OURS),
        row(K::LensDatabase, "a file of the lens database", "cannot be read", 64 << 20, NOT_OURS),
        row(K::Calibration, "a calibration", "cannot be read", 64 << 20, NOT_OURS),
        row(K::Rules, "a file of rules", "cannot be read", 4 << 20, NOT_OURS),
        row(K::Placement, "a table of placements", "the table of placements cannot be read", 16 << 20, NOT_OURS),
        row(K::Landmarks, "a file of landmarks", "cannot be read", 256 << 20, NOT_OURS),
        row(K::Template, "a template", "the template cannot be read", 4 << 20, NOT_OURS),
        row(K::Written, "a page or picture", "cannot be read", 256 << 20, "make it again"),
        row(K::ResultLine, "a line of results", "cannot be read", 64 << 20, "measure everything anew (`--anew`)"),
    ]
};

/// The table is in the order of the variants.
const _: () = {
    let mut i = 0;
    while i < LIMITS.len() {
        assert!(LIMITS[i].kind as usize == i);
        i += 1;
    }
};

impl FileKind {
    const fn limit(self) -> &'static Limit {
        const ALL: &[Limit; 13] = &LIMITS;
        &ALL[self as usize]
    }

    /// The most bytes that are read of one.
    pub const fn most_bytes(self) -> u64 {
        self.limit().most
    }
}

/// Reads a whole file.
///
/// # Errors
/// `Io` where it cannot be read or is no regular file, `Format` where it is larger than its kind may be (`Photo` for a photo).
///
/// # Example
/// ```no_run
/// use hoofgeo::file::{FileKind, read_file};
/// let rules = hoofgeo::review::Rules::parse(&read_file("rules.json".as_ref(), FileKind::Rules)?)?;
/// # Ok::<(), hoofgeo::Error>(())
/// ```
pub fn read_file(path: &Path, kind: FileKind) -> Result<Vec<u8>> {
    open(path).and_then(|file| take(file, kind.most_bytes())).map_err(|why| why.of(path, kind))
}

/// The same as text; `Format` where it is not UTF-8.
///
/// # Errors
/// As [`read_file`].
pub fn read_text(path: &Path, kind: FileKind) -> Result<String> {
    let bytes = read_file(path, kind)?;
    String::from_utf8(bytes).map_err(|_| {
        Error::new(ErrorKind::Format, format!("{}: it is no UTF-8 text", kind.limit().unread))
            .in_file(path)
            .help("save it as UTF-8")
    })
}

/// The same where there is such a file; a link that leads nowhere is none.
///
/// # Errors
/// As [`read_file`].
#[cfg(feature = "files")]
pub(crate) fn read_if_there(path: &Path, kind: FileKind) -> Result<Option<Vec<u8>>> {
    match open(path).and_then(|file| take(file, kind.most_bytes())) {
        Ok(bytes) => Ok(Some(bytes)),
        Err(Unread::Io(e)) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(why) => Err(why.of(path, kind)),
    }
}

/// Why a file was not read.
pub(crate) enum Unread {
    Io(io::Error),
    /// It is something else than a file.
    IsNo(&'static str),
    TooLarge,
}

impl Unread {
    pub(crate) fn of(self, path: &Path, kind: FileKind) -> Error {
        let limit = kind.limit();
        let error = match self {
            Self::Io(e) => Error::io(path, limit.unread, &e).help(match e.kind() {
                io::ErrorKind::NotFound => "check the name and the folder",
                io::ErrorKind::PermissionDenied => "ask for the right to read it, or copy it to a folder of your own",
                _ => "check that the disk or card is still connected and sound",
            }),
            Self::IsNo(what) => {
                Error::new(ErrorKind::Io, format!("{}: it is {what}, not a regular file", limit.unread))
                    .help("put the file itself in its place, or remove it")
            }
            Self::TooLarge => too_large(kind, limit.most),
        };
        error.in_file(path)
    }
}

/// A file of some kind that is larger than `most` bytes.
pub(crate) fn too_large(kind: FileKind, most: u64) -> Error {
    let limit = kind.limit();
    let as_error = if kind == FileKind::Photo { ErrorKind::Photo } else { ErrorKind::Format };
    Error::new(as_error, format!("is larger than {} MiB, the most that {} may have", most >> 20, limit.called))
        .help(limit.help)
}

/// Opens a file to be read piece by piece; whoever reads keeps to [`FileKind::most_bytes`].
///
/// # Errors
/// `Io` where it cannot be opened or is no regular file.
#[cfg(feature = "files")]
pub(crate) fn open_file(path: &Path, kind: FileKind) -> Result<File> {
    open(path).map_err(|why| why.of(path, kind))
}

/// Opens a regular file, and never waits for it: a pipe is opened without its other end, and then refused.
pub(crate) fn open(path: &Path) -> Result<File, Unread> {
    // Asked before opening too: opening a device may already do something.
    regular(&std::fs::metadata(path).map_err(Unread::Io)?)?;
    let mut options = File::options();
    options.read(true);
    #[cfg(unix)]
    {
        use rustix::fs::OFlags;
        use std::os::unix::fs::OpenOptionsExt;
        options.custom_flags((OFlags::NONBLOCK | OFlags::NOCTTY).bits() as i32);
    }
    let file = options.open(path).map_err(Unread::Io)?;
    // What was opened may be another than was asked about.
    regular(&file.metadata().map_err(Unread::Io)?)?;
    Ok(file)
}

fn regular(found: &std::fs::Metadata) -> Result<(), Unread> {
    if found.is_file() { Ok(()) } else { Err(Unread::IsNo(called(found.file_type()))) }
}

/// What something is that is no regular file.
fn called(found: FileType) -> &'static str {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if found.is_fifo() {
            return "a pipe";
        }
        if found.is_socket() {
            return "a socket";
        }
        if found.is_char_device() || found.is_block_device() {
            return "a device";
        }
    }
    if found.is_dir() { "a folder" } else { "something else" }
}

/// As much of it as it may have. Some files tell no size, or grow: what is read counts.
fn take(file: File, most: u64) -> Result<Vec<u8>, Unread> {
    let told = file.metadata().map_or(0, |m| m.len());
    if told > most {
        return Err(Unread::TooLarge);
    }
    let mut bytes = Vec::with_capacity(usize::try_from(told).unwrap_or(0) + 1);
    file.take(most + 1).read_to_end(&mut bytes).map_err(Unread::Io)?;
    if bytes.len() as u64 > most { Err(Unread::TooLarge) } else { Ok(bytes) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn what_is_too_large_or_no_text_is_told() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("rules.json");
        File::create(&path).unwrap().set_len(FileKind::Rules.most_bytes() + 1).unwrap();
        let e = read_file(&path, FileKind::Rules).unwrap_err();
        assert_eq!(e.file(), Some(&*path));
        assert_eq!(e.what(), "is larger than 4 MiB, the most that a file of rules may have");
        assert_eq!(e.help_text(), Some(NOT_OURS));
        std::fs::write(&path, [0xff]).unwrap();
        assert!(read_text(&path, FileKind::Rules).unwrap_err().what().ends_with("it is no UTF-8 text"));
        assert_eq!(read_file(&path, FileKind::Rules).unwrap(), [0xff]);
        assert!(read_if_there(&dir.path().join("none"), FileKind::Rules).unwrap().is_none());
        assert!(read_if_there(dir.path(), FileKind::Rules).unwrap_err().what().contains("it is a folder"));
    }

    #[cfg(unix)]
    #[test]
    fn pipes_and_devices_are_refused_without_waiting() {
        let dir = tempfile::tempdir().unwrap();
        let pipe = dir.path().join("pipe");
        assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
        let link = dir.path().join("link");
        std::os::unix::fs::symlink("/dev/zero", &link).unwrap();
        for (path, what) in [(&pipe, "a pipe"), (&link, "a device")] {
            let e = read_file(path, FileKind::Sidecar).unwrap_err();
            assert_eq!(e.what(), format!("cannot be read: it is {what}, not a regular file"));
        }
    }
}
