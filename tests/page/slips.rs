//! A slip is named on the page at once, and put right by one press.

use super::chromium::Chromium;
use super::hands::{press, saved};
use super::looking::looked_at;
use super::program::{Folder, Program, target};
use hoofgeo::Landmark;

const PHOTO: &str = "LF-lateral-before.jpg";
const SIDECAR: &str = "LF-lateral-before.jpg.hoof.json";

#[test]
fn exchanged_landmarks_are_named_and_exchanged() {
    let Some(browser) = Chromium::start() else { return };
    let folder = Folder::new(&[(PHOTO, PHOTO)]);
    let right = target(PHOTO);
    let mut slip = right.clone();
    let [toe, heel] = [Landmark::ToeCoronet, Landmark::HeelCoronet];
    let (a, b) = (right.landmarks[&toe].clone(), right.landmarks[&heel].clone());
    slip.landmarks.insert(toe, b);
    slip.landmarks.insert(heel, a);
    std::fs::write(folder.path(SIDECAR), slip.to_json()).unwrap();
    let program = Program::start(folder.root(), &[]);
    let tab = browser.open(&program.address, (1440, 900));
    tab.eval("hoofgeo.page.open(0)");
    tab.until("document.querySelector('.doubts')");
    let said = tab.eval("document.querySelector('.doubts').innerText");
    let said = said.as_str().unwrap();
    assert!(said.contains("Toe coronet") && said.contains("Heel coronet") && said.contains("exchange"), "{said}");
    looked_at(&tab, "slip");
    press(&tab, "Exchange the two");
    tab.until("!document.querySelector('.doubts')");
    saved(&tab);
    let kept = folder.draft(PHOTO).sidecar(None).unwrap();
    assert_eq!(kept.landmarks[&toe].at, right.landmarks[&toe].at);
    assert_eq!(kept.landmarks[&heel].at, right.landmarks[&heel].at);
    assert_eq!(browser.errors(), Vec::<String>::new());
}
