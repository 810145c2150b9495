//! Sidecars that are no UTF-8, no JSON, or not of the format.

use super::Case;
use crate::visits::sidecar;

pub(crate) fn cases() -> Vec<Case> {
    let utf16 = |name: &str, mark: bool| -> Vec<u8> {
        let text = sidecar(name);
        mark.then_some(0xfeff).into_iter().chain(text.encode_utf16()).flat_map(u16::to_le_bytes).collect()
    };
    let latin1: Vec<u8> = {
        let text = sidecar("latin-1.jpg").replace("\"MK\"", "\"Zo\u{eb}\"");
        text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect()
    };
    let observer = "\"observer\": \"MK\"";
    let toe = "[240, 480]";
    vec![
        Case::sidecar("utf-16.jpg", utf16("utf-16.jpg", true), "?"),
        Case::sidecar("utf-16-without-mark.jpg", utf16("utf-16-without-mark.jpg", false), "?"),
        Case::sidecar("utf-32.jpg", b"\xff\xfe\0\0{\0\0\0}\0\0\0".as_slice(), "?"),
        Case::sidecar("latin-1.jpg", latin1, "?"),
        Case::sidecar("not-text.jpg", b"\x1f\x8b\x08\0\0\0\0\0\0\x03\xab\0\x9e".as_slice(), "?"),
        Case::sidecar("empty-sidecar.jpg", "", "?"),
        Case::sidecar("blank-sidecar.jpg", " \r\n\t", "?"),
        Case::sidecar("list.jpg", "[]", "?"),
        Case::sidecar("null.jpg", "null", "?"),
        Case::sidecar("nested-lists.jpg", "[".repeat(200_000), "?"),
        Case::sidecar("nested-objects.jpg", "{\"a\":".repeat(200_000), "?"),
        Case::edit("nested-notes.jpg", &[(observer, &format!("\"notes\": {}1{}", "[".repeat(900), "]".repeat(900)))], "?"),
        Case::sidecar("cut-sidecar.jpg", &sidecar("cut-sidecar.jpg")[..400], "?"),
        Case::sidecar("two-objects.jpg", sidecar("two-objects.jpg") + "{}", "?"),
        Case::edit("nan.jpg", &[(toe, "[NaN, 480]")], "?"),
        Case::edit("infinity.jpg", &[(toe, "[240, Infinity]")], "?"),
        Case::edit("minus-infinity.jpg", &[(toe, "[240, -Infinity]")], "?"),
        Case::edit("1e999.jpg", &[(toe, "[240, 1e999]")], "?"),
        Case::edit("null-number.jpg", &[(toe, "[240, null]")], "?"),
        Case::edit("decimal-comma.jpg", &[(toe, "[240,5, 480,25]")], "?"),
        Case::edit("leading-zero.jpg", &[(toe, "[0240, 480]")], "?"),
        Case::edit("hexadecimal.jpg", &[(toe, "[0xF0, 480]")], "?"),
        Case::edit("plus-sign.jpg", &[(toe, "[+240, 480]")], "?"),
        Case::edit("thousands.jpg", &[(toe, "[\"1,240\", 480]")], "?"),
        Case::edit("trailing-comma.jpg", &[("\"lines\": {}", "\"lines\": {},")], "?"),
        Case::edit("missing-comma.jpg", &[("\"MK\",", "\"MK\"")], "?"),
        Case::edit("comment.jpg", &[("\"MK\",", "\"MK\", // me")], "?"),
        Case::edit("single-quotes.jpg", &[("\"MK\"", "'MK'")], "?"),
        Case::edit("typographic-quotes.jpg", &[("\"MK\"", "\u{201c}MK\u{201d}")], "?"),
        Case::edit("unclosed-text.jpg", &[("\"MK\"", "\"MK")], "?"),
        Case::edit("control-character.jpg", &[("\"MK\"", "\"M\u{7}K\"")], "?"),
        Case::edit("half-a-surrogate.jpg", &[("\"MK\"", "\"\\ud83d\"")], "?"),
        Case::edit("key-twice.jpg", &[(observer, "\"view\": \"lateral\"")], "?"),
        Case::edit("landmark-twice.jpg", &[("\"toe_coronet\"", "\"toe_ground\"")], "?"),
        Case::edit("unknown-key.jpg", &[("\"observer\"", "\"observr\"")], "?"),
        Case::edit("unknown-landmark.jpg", &[("\"heel_ground\"", "\"heel_grond\"")], "?"),
        Case::edit("unknown-line.jpg", &[("\"lines\": {}", "\"lines\": { \"dorsalwall\": [[344, 346], [240, 480]] }")], "?"),
        Case::edit("unknown-plane.jpg", &[("\"lines\": {}", "\"planes\": { \"sagittal\": { \"u_mm\": 2 } }")], "?"),
        Case::edit("no-format.jpg", &[("\"format\": \"hoofgeo-sidecar/1\",", "")], "?"),
        Case::edit("later-format.jpg", &[("hoofgeo-sidecar/1", "hoofgeo-sidecar/2")], "?"),
        Case::edit("lens-file-as-sidecar.jpg", &[("hoofgeo-sidecar/1", "hoofgeo-lens/1")], "?"),
    ]
}
