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
        Case::sidecar(
            "utf-16.jpg",
            utf16("utf-16.jpg", true),
            ".hoof.json: the text is UTF-16, not UTF-8\nsave it again as UTF-8",
        ),
        Case::sidecar(
            "utf-16-without-mark.jpg",
            utf16("utf-16-without-mark.jpg", false),
            ".hoof.json: the text is UTF-16 without a byte order mark, not UTF-8\nsave it again as UTF-8",
        ),
        Case::sidecar(
            "utf-32.jpg",
            b"\xff\xfe\0\0{\0\0\0}\0\0\0".as_slice(),
            ".hoof.json: the text is UTF-32, not UTF-8\nsave it again as UTF-8",
        ),
        Case::sidecar(
            "latin-1.jpg",
            latin1,
            ".hoof.json:9:18: the text is not UTF-8: byte 0xEB (`ë` in Latin-1)\nsave it again as UTF-8",
        ),
        Case::sidecar(
            "not-text.jpg",
            b"\x1f\x8b\x08\0\0\0\0\0\0\x03\xab\0\x9e".as_slice(),
            ".hoof.json:1:2: this is not text\nis it another file under this name?",
        ),
        Case::sidecar("empty-sidecar.jpg", "", ".hoof.json: the file is empty\nwrite a new one with `hoofgeo start`"),
        Case::sidecar(
            "blank-sidecar.jpg",
            " \r\n\t",
            ".hoof.json: the file is empty\nwrite a new one with `hoofgeo start`",
        ),
        Case::sidecar("list.jpg", "[]", ".hoof.json:1:1: must be an object `{...}`, not a list `[...]`"),
        Case::sidecar("null.jpg", "null", ".hoof.json:1:1: must be an object `{...}`, not null"),
        Case::sidecar("nested-lists.jpg", "[".repeat(200_000), ".hoof.json:1:513: nested too deep"),
        Case::sidecar("nested-objects.jpg", "{\"a\":".repeat(200_000), ".hoof.json:1:1282: nested too deep"),
        Case::edit(
            "nested-notes.jpg",
            &[(observer, &format!("\"notes\": {}1{}", "[".repeat(900), "]".repeat(900)))],
            ".hoof.json:9:522: nested too deep",
        ),
        Case::sidecar("cut-sidecar.jpg", &sidecar("cut-sidecar.jpg")[..400], ".hoof.json:14:14: the key has no value"),
        Case::sidecar(
            "two-objects.jpg",
            sidecar("two-objects.jpg") + "{}",
            ".hoof.json:29:1: something follows the end of the object",
        ),
        Case::edit("nan.jpg", &[(toe, "[NaN, 480]")], ".hoof.json:23:28: a number must be finite"),
        Case::edit("infinity.jpg", &[(toe, "[240, Infinity]")], ".hoof.json:23:33: a number must be finite"),
        Case::edit("minus-infinity.jpg", &[(toe, "[240, -Infinity]")], ".hoof.json:23:33: a number must be finite"),
        Case::edit(
            "1e999.jpg",
            &[(toe, "[240, 1e999]")],
            ".hoof.json:23:33: landmarks.toe_ground.at[1]: 1e999 is not a number that can be meant here",
        ),
        Case::edit(
            "null-number.jpg",
            &[(toe, "[240, null]")],
            ".hoof.json:23:33: landmarks.toe_ground.at[1]: must be a number, not null",
        ),
        Case::edit(
            "decimal-comma.jpg",
            &[(toe, "[240,5, 480,25]")],
            ".hoof.json:23:27: landmarks.toe_ground.at: must be `[x, y]`, two numbers, not 4\nthe decimal mark is a point, not a comma",
        ),
        Case::edit("leading-zero.jpg", &[(toe, "[0240, 480]")], ".hoof.json:23:29: a number must not begin with 0"),
        Case::edit("hexadecimal.jpg", &[(toe, "[0xF0, 480]")], ".hoof.json:23:28: a number must be decimal"),
        Case::edit("plus-sign.jpg", &[(toe, "[+240, 480]")], ".hoof.json:23:28: a number takes no plus sign"),
        Case::edit(
            "thousands.jpg",
            &[(toe, "[\"1,240\", 480]")],
            ".hoof.json:23:28: landmarks.toe_ground.at[0]: must be a number or `[x, y]`, not the text \"1,240\"",
        ),
        Case::edit(
            "trailing-comma.jpg",
            &[("\"lines\": {}", "\"lines\": {},")],
            ".hoof.json:27:14: no comma may follow the last entry",
        ),
        Case::edit("missing-comma.jpg", &[("\"MK\",", "\"MK\"")], ".hoof.json:9:19: a comma is missing here"),
        Case::edit(
            "comment.jpg",
            &[("\"MK\",", "\"MK\", // me")],
            ".hoof.json:9:21: a comment is not allowed here\nwrite it into the key `notes`",
        ),
        Case::edit("single-quotes.jpg", &[("\"MK\"", "'MK'")], ".hoof.json:9:15: text stands in double quotes"),
        Case::edit(
            "typographic-quotes.jpg",
            &[("\"MK\"", "\u{201c}MK\u{201d}")],
            ".hoof.json:9:15: `“MK”` is not JSON\ntext stands in double quotes",
        ),
        Case::edit(
            "unclosed-text.jpg",
            &[("\"MK\"", "\"MK")],
            ".hoof.json:9:15: this text has no end: a closing quote is missing",
        ),
        Case::edit(
            "control-character.jpg",
            &[("\"MK\"", "\"M\u{7}K\"")],
            ".hoof.json:9:16: not JSON: control character (\\u0000-\\u001F) found while parsing a string",
        ),
        Case::edit(
            "half-a-surrogate.jpg",
            &[("\"MK\"", "\"\\ud83d\"")],
            ".hoof.json:9:16: not JSON: invalid unicode escape sequence. 'd83d (unpaired high surrogate)' is not a valid UTF8 character",
        ),
        Case::edit(
            "key-twice.jpg",
            &[(observer, "\"view\": \"lateral\"")],
            ".hoof.json:9:3: view: the key `view` is given twice\nkeep one of the two",
        ),
        Case::edit(
            "landmark-twice.jpg",
            &[("\"toe_coronet\"", "\"toe_ground\"")],
            ".hoof.json:23:5: landmarks.toe_ground: the key `toe_ground` is given twice\nkeep one of the two",
        ),
        Case::edit(
            "unknown-key.jpg",
            &[("\"observer\"", "\"observr\"")],
            ".hoof.json:9:3: observr: unknown key `observr`\ndid you mean `observer`?",
        ),
        Case::edit(
            "unknown-landmark.jpg",
            &[("\"heel_ground\"", "\"heel_grond\"")],
            ".hoof.json:25:5: landmarks.heel_grond: there is no landmark `heel_grond`\ndid you mean `heel_ground`?",
        ),
        Case::edit(
            "unknown-line.jpg",
            &[("\"lines\": {}", "\"lines\": { \"dorsalwall\": [[344, 346], [240, 480]] }")],
            ".hoof.json:27:14: lines.dorsalwall: there is no line `dorsalwall`\ndid you mean `dorsal_wall`?",
        ),
        Case::edit(
            "unknown-plane.jpg",
            &[("\"lines\": {}", "\"planes\": { \"sagittal\": { \"u_mm\": 2 } }")],
            ".hoof.json:27:15: planes.sagittal: there is no plane `sagittal`\nknown here: `measured`, `midline`, `near_heel`, `ground` or `sole`",
        ),
        Case::edit(
            "no-format.jpg",
            &[("\"format\": \"hoofgeo-sidecar/1\",", "")],
            ".hoof.json:1:1: the key `format` is missing\nwrite \"format\": \"hoofgeo-sidecar/1\"",
        ),
        Case::edit(
            "later-format.jpg",
            &[("hoofgeo-sidecar/1", "hoofgeo-sidecar/2")],
            ".hoof.json:2:13: format: must be \"hoofgeo-sidecar/1\", not \"hoofgeo-sidecar/2\"\nthis program reads version 1",
        ),
        Case::edit(
            "lens-file-as-sidecar.jpg",
            &[("hoofgeo-sidecar/1", "hoofgeo-lens/1")],
            ".hoof.json:2:13: format: must be \"hoofgeo-sidecar/1\", not \"hoofgeo-lens/1\"\nthis is a file of another kind under this name",
        ),
    ]
}
