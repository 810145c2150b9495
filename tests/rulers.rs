//! Tolerances of rulers against the tables of the law.
//!
//! Provenance: `fixtures/rulers/SOURCE.md`.
#![allow(missing_docs, clippy::unwrap_used, reason = "tests")]

mod common;

use common::{agrees, case, near, number};
use hoofgeo::scale::{RuleClass, Tolerance};

#[test]
fn maximum_permissible_errors_of_mi_008() {
    let c = case("rulers/rulers.json", "MI-008 length MPE");
    let rows = c["rows"].as_array().unwrap();
    assert!(rows.len() >= 30, "only {} rows", rows.len());
    for row in rows {
        let class = match row["cls"].as_str().unwrap() {
            "I" => RuleClass::I,
            "II" => RuleClass::II,
            "III" => RuleClass::III,
            other => panic!("class {other}"),
        };
        let length = number(&row["length_mm"]);
        let mpe = class.maximum_error_mm(length);
        near(mpe, number(&row["mpe_mm"]), 1e-12);
        near(mpe + class.end_face_error_mm(), number(&row["mpe_mm_if_one_end_is_a_surface"]), 1e-12);
        let u = Tolerance::Class(class).relative_u(length) * length;
        agrees(u, number(&row["std_uncertainty_rectangular_mm"]), 1e-12);
    }
}
