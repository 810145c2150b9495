//! One error type for the whole library: what is wrong, in which file, where in it, and what to do.

use std::fmt;
use std::path::{Path, PathBuf};

/// Result with the library's [`Error`].
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// What kind of thing went wrong, for programs that react to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum ErrorKind {
    /// A file could not be read or written.
    Io,
    /// A sidecar, visit file or lens profile does not follow its format.
    Format,
    /// A photo is damaged, of an unknown type, or does not belong to its sidecar.
    Photo,
    /// The scale's graduations cannot be what the sidecar says.
    Scale,
    /// The scene (camera, lens and scale pose) cannot be estimated.
    Scene,
    /// A landmark cannot be where it was placed.
    Landmark,
    /// The caller asked for something that does not exist or makes no sense.
    Usage,
}

/// Where in a text file an error was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Line, counted from 1.
    pub line: usize,
    /// Column in characters, counted from 1.
    pub column: usize,
    /// JSON path such as `landmarks.toe_ground.at[0]`; empty where none is known.
    pub path: String,
}

/// An error for people: it names the file, the place in it, what is wrong and what to do.
///
/// # Example: an error that says what to do
/// ```
/// use hoofgeo::{Error, ErrorKind};
/// let e = Error::new(ErrorKind::Photo, "the photo is 3024 x 4032, its sidecar says 4032 x 3024")
///     .in_file("LF-side.jpg")
///     .help("place the landmarks again on the photo as it is now");
/// assert!(e.to_string().starts_with("LF-side.jpg: the photo is"));
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Error(Box<Inner>);

#[derive(Debug, Clone, PartialEq)]
struct Inner {
    kind: ErrorKind,
    what: String,
    file: Option<PathBuf>,
    place: Option<Place>,
    help: Option<String>,
}

impl Error {
    /// A new error. `what` is lower case, without a full stop.
    pub fn new(kind: ErrorKind, what: impl Into<String>) -> Self {
        Self(Box::new(Inner { kind, what: what.into(), file: None, place: None, help: None }))
    }

    /// Says what the user can do about it.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.0.help = Some(help.into());
        self
    }

    /// Names the file, unless an inner call has named one already.
    #[must_use]
    pub fn in_file(mut self, file: impl AsRef<Path>) -> Self {
        self.0.file.get_or_insert_with(|| file.as_ref().to_path_buf());
        self
    }

    /// Names the place in the file.
    #[must_use]
    pub fn at(mut self, place: Place) -> Self {
        self.0.place = Some(place);
        self
    }

    /// A failed read or write of `file`.
    pub fn io(file: impl AsRef<Path>, doing: &str, source: &std::io::Error) -> Self {
        Self::new(ErrorKind::Io, format!("{doing}: {source}")).in_file(file)
    }

    /// What kind of error this is.
    pub fn kind(&self) -> ErrorKind {
        self.0.kind
    }

    /// What is wrong, without file, place and help.
    pub fn what(&self) -> &str {
        &self.0.what
    }

    /// The file it was found in.
    pub fn file(&self) -> Option<&Path> {
        self.0.file.as_deref()
    }

    /// The place in the file.
    pub fn place(&self) -> Option<&Place> {
        self.0.place.as_ref()
    }

    /// What to do about it.
    pub fn help_text(&self) -> Option<&str> {
        self.0.help.as_deref()
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(file) = &self.0.file {
            write!(f, "{}", file.display())?;
            if let Some(p) = &self.0.place {
                write!(f, ":{}:{}", p.line, p.column)?;
            }
            write!(f, ": ")?;
        } else if let Some(p) = &self.0.place {
            write!(f, "line {} column {}: ", p.line, p.column)?;
        }
        if let Some(p) = self.0.place.as_ref().filter(|p| !p.path.is_empty()) {
            write!(f, "{}: ", p.path)?;
        }
        write!(f, "{}", self.0.what)?;
        if let Some(help) = &self.0.help {
            write!(f, "\n  {help}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Error {}
