use super::super::Orientation;
use super::fixture;
use serde_json::Value;

fn table() -> Value {
    serde_json::from_slice(&std::fs::read(fixture("orientation.json")).unwrap()).unwrap()
}

/// The standard's table, pixel by pixel: a pixel's centre lands on the centre of the pixel with the same number.
#[test]
fn pixel_centres_land_where_the_standards_table_says() {
    let table = table();
    let stored = &table["stored_array"];
    for row in table["rows"].as_array().unwrap() {
        let o = Orientation::from_exif(row["value"].as_u64().unwrap() as u32).unwrap();
        let upright = row["upright_array"].as_array().unwrap();
        assert_eq!(o.upright_size((3, 2)), (upright[0].as_array().unwrap().len() as u32, upright.len() as u32));
        assert_eq!((Some(o.mirrors()), Some(o.swaps_axes())), (row["mirrored"].as_bool(), row["swaps_axes"].as_bool()));
        for (x, y) in (0..3).flat_map(|x| (0..2).map(move |y| (x, y))) {
            let [u, v] = o.apply([x as f64 + 0.5, y as f64 + 0.5], (3, 2)).map(|c| (c - 0.5) as usize);
            assert_eq!(upright[v][u], stored[y][x], "{o:?} at {x},{y}");
        }
    }
}

/// The table's formulas for indices, evaluated, against ours for corners: they differ by half a pixel on both sides.
#[test]
fn formulas_equal_the_standards() {
    for row in table()["rows"].as_array().unwrap() {
        let o = Orientation::from_exif(row["value"].as_u64().unwrap() as u32).unwrap();
        let formula = row["map_stored_to_upright"].as_str().unwrap();
        let (x, y, size) = (1234.25, 77.5, (4032, 3024));
        let term = |t: &str| match t {
            "x" => x,
            "y" => y,
            "W-1-x" => f64::from(size.0) - 1.0 - x,
            "H-1-y" => f64::from(size.1) - 1.0 - y,
            other => panic!("unknown term {other}"),
        };
        let (u, v) = formula.trim_matches(['(', ')']).split_once(',').unwrap();
        assert_eq!(o.apply([x + 0.5, y + 0.5], size), [term(u) + 0.5, term(v) + 0.5], "{o:?}");
    }
}

#[test]
fn inverse_undoes_and_composition_is_one_after_the_other() {
    let (p, size) = ([12.25, 30.5], (64, 48));
    for a in Orientation::ALL {
        assert_eq!(Orientation::from_exif(a.exif().into()), Some(a));
        assert_eq!(a.invert(a.apply(p, size), size), p);
        assert_eq!(a.then(a.inverse()), Orientation::Upright);
        for b in Orientation::ALL {
            let one_after_the_other = b.apply(a.apply(p, size), a.upright_size(size));
            assert_eq!(a.then(b).apply(p, size), one_after_the_other, "{a:?} then {b:?}");
        }
    }
    assert_eq!([0, 9, u32::MAX].map(Orientation::from_exif), [None; 3]);
}
