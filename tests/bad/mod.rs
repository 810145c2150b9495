//! Bad photos and sidecars, each with the exact text of its refusal.

pub(crate) mod json;
pub(crate) mod lenses;
pub(crate) mod photos;
pub(crate) mod scales;
pub(crate) mod sidecars;

use crate::visits::{Folder, SCALE, headers, replaced, sidecar};

/// One photo of the folder that has to be refused. Its name says what is wrong.
pub(crate) struct Case {
    /// The photo's name.
    pub(crate) name: &'static str,
    /// The photo's content; none where there is no photo.
    photo: Option<Vec<u8>>,
    /// The sidecar's content; none where there is no sidecar.
    sidecar: Option<Vec<u8>>,
    /// What is printed behind `refused visit/NAME`, a line break before what to do. It begins with another path where the
    /// fault lies in a file that photos share.
    text: &'static str,
}

impl Case {
    /// A bad photo beside a good sidecar.
    fn photo(name: &'static str, photo: impl Into<Vec<u8>>, text: &'static str) -> Self {
        Self { name, photo: Some(photo.into()), sidecar: Some(sidecar(name).into()), text }
    }

    /// A good photo beside these bytes.
    fn sidecar(name: &'static str, bytes: impl Into<Vec<u8>>, text: &'static str) -> Self {
        Self { name, photo: Some(headers::photo()), sidecar: Some(bytes.into()), text }
    }

    /// A good photo beside a good sidecar with texts replaced.
    fn edit(name: &'static str, changes: &[(&str, &str)], text: &'static str) -> Self {
        Self::sidecar(name, replaced(&sidecar(name), changes), text)
    }

    /// A good photo beside a sidecar with another scale, written on one line.
    fn scale(name: &'static str, kind: &str, points: &str, text: &'static str) -> Self {
        let scale = format!(r#"{{ "kind": "{kind}", "points": [{points}] }}"#);
        Self::edit(name, &[(SCALE, &scale)], text)
    }

    fn beside(mut self, photo: Vec<u8>) -> Self {
        self.photo = Some(photo);
        self
    }

    fn without_photo(mut self) -> Self {
        self.photo = None;
        self
    }

    fn without_sidecar(mut self) -> Self {
        self.sidecar = None;
        self
    }

    /// Writes its files.
    pub(crate) fn write(&self, folder: &Folder) {
        if let Some(photo) = &self.photo {
            folder.write(self.name, photo);
        }
        if let Some(sidecar) = &self.sidecar {
            folder.write(&format!("{}.hoof.json", self.name), sidecar);
        }
    }

    /// The refusal as it is printed.
    pub(crate) fn refusal(&self) -> String {
        let text = self.text.replace('\n', "\n        ");
        if text.starts_with(['.', ':']) {
            format!("refused visit/{}{text}", self.name)
        } else {
            format!("refused visit/{text}")
        }
    }
}

/// All of them.
pub(crate) fn cases() -> Vec<Case> {
    [photos::cases(), json::cases(), sidecars::cases(), scales::cases(), lenses::cases()]
        .into_iter()
        .flatten()
        .collect()
}
