//! The clock map: closed forms, tables computed outside, shapely, and what must hold for any stoma and plate.

use std::process::Command;

use proptest::prelude::*;
use roundel::skin::rules::geometry::GeometryError;
use roundel::skin::rules::*;
use serde_json::{Value, json};

use super::fields;

fn map(stoma: (f64, f64), plate: (f64, f64, f64), rings: u8, cells: &[(u8, u8)]) -> SkinMap {
    let cell = |(hour, ring): &(u8, u8)| MapCell { hour: *hour, ring: *ring, finding: Finding::Discoloured };
    SkinMap {
        stoma: Stoma { width_mm: stoma.0, height_mm: stoma.1 },
        plate: Plate { diameter_mm: plate.0, offset_x_mm: plate.1, offset_y_mm: plate.2 },
        rings,
        cells: cells.iter().map(cell).collect(),
    }
}

fn every_cell(rings: u8) -> Vec<(u8, u8)> {
    (1..=12).flat_map(|hour| (1..=rings).map(move |ring| (hour, ring))).collect()
}

/// The fraction of the skin that one cell makes, straight from the geometry.
fn fraction(skin: &Skin, hour: u8, ring: u8, rings: u8) -> f64 {
    skin.sector(hour).ring_mm2(ring, rings) / skin.area_mm2()
}

#[test]
fn the_map_example_of_the_contract_is_measured() {
    let input = json!({
        "stoma": { "width_mm": 30, "height_mm": 30 },
        "plate": { "diameter_mm": 100, "offset_x_mm": 0, "offset_y_mm": 0 },
        "rings": 3,
        "cells": [{ "hour": 3, "ring": 1, "finding": "discoloured" }, { "hour": 4, "ring": 1, "finding": "eroded" }],
    });
    let answer = decide_map(&input).unwrap();
    // Total printed in the contract; the cell's 0.017806 is from scipy quadrature.
    assert_eq!(answer["skin_mm2"], 7147.1);
    let percent = &answer["area_percent"];
    assert!((percent["discolouration"].as_f64().unwrap() - 3.5613).abs() < 5e-4, "{percent}");
    assert!((percent["erosion"].as_f64().unwrap() - 1.7806).abs() < 5e-4, "{percent}");
    assert_eq!(percent["overgrowth"], 0.0);
}

#[test]
fn concentric_circles_agree_with_the_closed_form() {
    // Closed form for three rings of width w: inner (2r+w)/(3(2r+3w)), middle 1/3, outer (2r+5w)/(3(2r+3w)); the
    // printed fractions for a plate of radius 50 were computed outside this project.
    for (r, inner, outer) in [
        (10.0, 0.185_185, 0.481_481),
        (15.0, 0.213_675, 0.452_991),
        (20.0, 0.238_095, 0.428_571),
        (25.0, 0.259_259, 0.407_407),
        (30.0, 0.277_778, 0.388_889),
    ] {
        let skin = Skin::new(
            Stoma { width_mm: 2.0 * r, height_mm: 2.0 * r },
            Plate { diameter_mm: 100.0, offset_x_mm: 0.0, offset_y_mm: 0.0 },
        )
        .unwrap();
        let w = (50.0 - r) / 3.0;
        let forms = [2.0 * r + w, 2.0 * r + 3.0 * w, 2.0 * r + 5.0 * w].map(|top| top / (3.0 * (2.0 * r + 3.0 * w)));
        assert!((forms[0] - inner).abs() < 1e-6 && (forms[2] - outer).abs() < 1e-6, "r {r}: {forms:?}");
        for hour in 1..=12 {
            for (ring, form) in (1..).zip(forms) {
                let cell = fraction(&skin, hour, ring, 3);
                assert!((cell - form / 12.0).abs() < 1e-12, "r {r} hour {hour} ring {ring}: {cell}");
            }
        }
    }
}

/// Hour, then inner, middle, outer and sector as fractions of all skin.
type Row = (u8, [f64; 4]);

/// scipy quadrature, shapely agreeing to 4e-5 mm² a cell: stoma 40 × 30 mm, plate 100 mm, centred; hours 7–12 mirror.
const CENTRED_ELLIPSE: [Row; 4] = [
    (12, [0.018_429, 0.028_696, 0.038_964, 0.086_089]),
    (1, [0.018_591, 0.028_345, 0.038_099, 0.085_035]),
    (2, [0.018_865, 0.027_340, 0.035_814, 0.082_019]),
    (3, [0.018_938, 0.026_601, 0.034_264, 0.079_803]),
];

/// The same, shapely agreeing to 7e-5 mm² a cell: stoma 35 mm round, its centre 10 mm to the viewer's right of the
/// centre of a plate of 100 mm, so the plate's offset is −10.
const OFFSET_CIRCLE: [Row; 12] = [
    (12, [0.018_167, 0.026_569, 0.034_971, 0.079_706]),
    (1, [0.014_923, 0.021_003, 0.027_083, 0.063_009]),
    (2, [0.012_860, 0.017_596, 0.022_331, 0.052_787]),
    (3, [0.012_166, 0.016_474, 0.020_783, 0.049_423]),
    (4, [0.012_860, 0.017_596, 0.022_331, 0.052_787]),
    (5, [0.014_923, 0.021_003, 0.027_083, 0.063_009]),
    (6, [0.018_167, 0.026_569, 0.034_971, 0.079_706]),
    (7, [0.021_957, 0.033_343, 0.044_729, 0.100_030]),
    (8, [0.025_111, 0.039_169, 0.053_227, 0.117_507]),
    (9, [0.026_350, 0.041_499, 0.056_649, 0.124_498]),
    (10, [0.025_111, 0.039_169, 0.053_227, 0.117_507]),
    (11, [0.021_957, 0.033_343, 0.044_729, 0.100_030]),
];

fn assert_row(name: &str, skin: &Skin, hour: u8, row: [f64; 4]) {
    let cells = [1, 2, 3].map(|ring| fraction(skin, hour, ring, 3));
    for (cell, printed) in cells.iter().zip(row) {
        assert!((cell - printed).abs() < 6e-7, "{name} hour {hour}: {cells:?}, printed {row:?}");
    }
    assert!((cells.iter().sum::<f64>() - row[3]).abs() < 6e-7, "{name} hour {hour}: {cells:?}, printed {row:?}");
}

#[test]
fn ellipse_and_offset_agree_with_quadrature_from_outside() {
    // The third table computed outside has a rotated ellipse, which the contract does not know.
    let plate = |x| Plate { diameter_mm: 100.0, offset_x_mm: x, offset_y_mm: 0.0 };
    let ellipse = Skin::new(Stoma { width_mm: 40.0, height_mm: 30.0 }, plate(0.0)).unwrap();
    assert!((ellipse.area_mm2() - 6_911.503_838).abs() < 1e-6);
    for (hour, row) in CENTRED_ELLIPSE {
        for mirrored in [hour, 12 - hour % 12, (6 + hour) % 12, (18 - hour) % 12] {
            assert_row("ellipse", &ellipse, mirrored, row);
        }
    }
    let offset = Skin::new(Stoma { width_mm: 35.0, height_mm: 35.0 }, plate(-10.0)).unwrap();
    assert!((offset.area_mm2() - 6_891.868_884).abs() < 1e-6);
    for (hour, row) in OFFSET_CIRCLE {
        assert_row("offset circle", &offset, hour, row);
    }
}

#[test]
fn the_plate_lies_where_its_offset_says() {
    // A plate moved towards the head has most of its skin at 12 o'clock, one moved to the patient's left at 3.
    let widest = |x, y| {
        let stoma = Stoma { width_mm: 30.0, height_mm: 30.0 };
        let skin = Skin::new(stoma, Plate { diameter_mm: 100.0, offset_x_mm: x, offset_y_mm: y }).unwrap();
        (1..=12).max_by(|a, b| fraction(&skin, *a, 1, 1).total_cmp(&fraction(&skin, *b, 1, 1))).unwrap()
    };
    assert_eq!([widest(0.0, 12.0), widest(12.0, 0.0), widest(0.0, -12.0), widest(-12.0, 0.0)], [12, 3, 6, 9]);
}

#[test]
fn findings_count_once_in_their_domains() {
    let cell = |finding: &str| json!({ "hour": 6, "ring": 2, "finding": finding });
    let of = |cells: Vec<Value>| {
        let input = json!({
            "stoma": { "width_mm": 25, "height_mm": 35 }, "plate": { "diameter_mm": 90 }, "rings": 3, "cells": cells,
        });
        decide_map(&input).unwrap()["area_percent"].clone()
    };
    let zero = json!(0.0);
    let only = of(vec![cell("discoloured")])["discolouration"].clone();
    let all = of(vec![cell("eroded"), cell("overgrown"), cell("discoloured"), cell("eroded")]);
    assert_eq!(all, json!({ "discolouration": only, "erosion": only, "overgrowth": only }));
    assert_eq!(of(vec![cell("overgrown")]), json!({ "discolouration": only, "erosion": zero, "overgrowth": only }));
    assert_eq!(of(vec![]), json!({ "discolouration": zero, "erosion": zero, "overgrowth": zero }));
}

#[test]
fn three_hours_of_a_centred_stoma_are_exactly_a_quarter() {
    // So that a quarter makes 2 points and not 1: the share is rounded before it is scored.
    let cells: Vec<_> = every_cell(3).into_iter().filter(|(hour, _)| (4..=6).contains(hour)).collect();
    for diameter in [60.0, 73.0, 100.0, 111.0] {
        let shares = shares(&map((31.0, 31.0), (diameter, 0.0, 0.0), 3, &cells)).unwrap();
        assert_eq!(shares.area(Domain::Discolouration), Area::Percent(25.0));
        assert_eq!(shares.area(Domain::Discolouration).points(), 2);
        assert_eq!(shares.area(Domain::Erosion), Area::Percent(0.0));
    }
}

#[test]
fn a_stoma_not_wholly_inside_is_refused() {
    let of = |stoma, plate| shares(&map(stoma, plate, 3, &[(1, 1)]));
    // Reach by hand: half the width plus the offset along it; touching (50 = 50) leaves no skin there.
    for (stoma, plate) in [
        ((30.0, 30.0), (100.0, 35.0, 0.0)),
        ((30.0, 30.0), (100.0, 0.0, -35.1)),
        ((100.0, 100.0), (100.0, 0.0, 0.0)),
        ((20.0, 120.0), (100.0, 0.0, 0.0)),
        ((30.0, 30.0), (100.0, 90.0, 0.0)),
        // 3-4-5: the farthest point lies 15 + 36 = 51 mm away along the slanted line.
        ((30.0, 30.0), (100.0, 21.6, 28.8)),
    ] {
        assert_eq!(fields(&of(stoma, plate).unwrap_err()), ["plate.diameter_mm"], "{stoma:?} {plate:?}");
    }
    assert!(of((30.0, 30.0), (100.0, 34.9, 0.0)).is_ok());
    // 15 + 34 = 49 along the slanted line.
    assert!(of((30.0, 30.0), (100.0, 20.4, 27.2)).is_ok());
    // An ellipse that would not fit by its corner (25, 20) but does by its edge.
    assert!(of((40.0, 50.0), (76.0, 10.0, 8.0)).is_ok());
    let no_size = Skin::new(
        Stoma { width_mm: 0.0, height_mm: 30.0 },
        Plate { diameter_mm: 100.0, offset_x_mm: 0.0, offset_y_mm: 0.0 },
    );
    assert!(matches!(no_size, Err(GeometryError::NoSize)));
}

#[test]
fn every_mistake_in_a_map_is_reported() {
    let errors = decide_map(&json!({
        "stoma": { "width_mm": 0, "height_mm": 30, "protrusion_mm": 20 },
        "plate": { "offset_x_mm": "1" },
        "rings": 3,
        "cells": [
            { "hour": 13, "ring": 1, "finding": "discoloured" },
            { "hour": 1, "ring": 4, "finding": "red" },
            { "hour": 1, "finding": "eroded" },
            7,
        ],
        "unit": "mm",
    }))
    .unwrap_err();
    assert_eq!(
        fields(&errors),
        [
            "stoma.width_mm",
            "stoma.protrusion_mm",
            "plate.diameter_mm",
            "plate.offset_x_mm",
            "cells[0].hour",
            "cells[1].ring",
            "cells[1].finding",
            "cells[2].ring",
            "cells[3]",
            "unit",
        ]
    );
    assert_eq!(fields(&decide_map(&json!({})).unwrap_err()), ["stoma", "plate", "rings", "cells"]);
    // A stoma outside the plate is reported beside the other faults.
    let errors = decide_map(&json!({
        "stoma": { "width_mm": 60, "height_mm": 60 }, "plate": { "diameter_mm": 50 }, "rings": 0, "cells": [],
    }))
    .unwrap_err();
    assert_eq!(fields(&errors), ["rings", "plate.diameter_mm"]);
    // The typed door checks the same.
    let errors = shares(&map((30.0, 30.0), (100.0, 0.0, 0.0), 3, &[(0, 1), (1, 0), (12, 4)])).unwrap_err();
    assert_eq!(fields(&errors), ["cells[0].hour", "cells[1].ring", "cells[2].ring"]);
    assert_eq!(fields(&shares(&map((30.0, 30.0), (100.0, 0.0, 0.0), 0, &[])).unwrap_err()), ["rings"]);
}

prop_compose! {
    /// A plate around a stoma that lies wholly inside it, whatever its place.
    fn fitting()(
        (width, height) in (3.0..90.0_f64, 3.0..90.0_f64),
        (gap, towards) in (0.05..60.0_f64, 0.0..360.0_f64),
        share in 0.0..0.99_f64,
    ) -> (Stoma, Plate) {
        let spare = gap * share;
        let (x, y) = (spare * towards.to_radians().sin(), spare * towards.to_radians().cos());
        let diameter_mm = width.max(height) + 2.0 * gap;
        (Stoma { width_mm: width, height_mm: height }, Plate { diameter_mm, offset_x_mm: x, offset_y_mm: y })
    }
}

proptest! {
    #[test]
    fn all_cells_together_are_all_the_skin((stoma, plate) in fitting(), rings in 1..=10_u8) {
        let skin = Skin::new(stoma, plate).unwrap();
        let sum: f64 = every_cell(rings).into_iter().map(|(hour, ring)| fraction(&skin, hour, ring, rings)).sum();
        // 0.01 percentage points is 1e-4.
        prop_assert!((sum - 1.0).abs() < 1e-6, "{sum}");
    }

    #[test]
    fn the_middle_ring_of_three_is_a_third_of_its_sector((stoma, plate) in fitting(), hour in 1..=12_u8) {
        // Along every ray the middle ring takes w(2s+3w)/2 of 3w(2s+3w)/2, whatever the shape and offset.
        let skin = Skin::new(stoma, plate).unwrap();
        let cells = [1, 2, 3].map(|ring| fraction(&skin, hour, ring, 3));
        prop_assert!((cells[1] * 3.0 - cells.iter().sum::<f64>()).abs() < 1e-12);
        prop_assert!(0.0 < cells[0] && cells[0] < cells[1] && cells[1] < cells[2]);
    }

    #[test]
    fn finer_rings_refine_coarser_ones((stoma, plate) in fitting(), hour in 1..=12_u8) {
        let skin = Skin::new(stoma, plate).unwrap();
        let two = fraction(&skin, hour, 1, 4) + fraction(&skin, hour, 2, 4);
        prop_assert!((two - fraction(&skin, hour, 1, 2)).abs() < 1e-12);
    }

    #[test]
    fn turning_the_plate_by_an_hour_turns_the_sectors(gap in 1.0..40.0_f64, towards in 0..12_u8, hour in 1..=12_u8) {
        let at = |hours: u8| {
            let angle = (f64::from(hours) * 30.0).to_radians();
            let (offset_x_mm, offset_y_mm) = (gap / 2.0 * angle.sin(), gap / 2.0 * angle.cos());
            let plate = Plate { diameter_mm: 30.0 + 2.0 * gap, offset_x_mm, offset_y_mm };
            Skin::new(Stoma { width_mm: 30.0, height_mm: 30.0 }, plate).unwrap()
        };
        let turned = fraction(&at(towards), (hour + towards) % 12, 1, 3);
        prop_assert!((turned - fraction(&at(0), hour, 1, 3)).abs() < 1e-9);
    }

    #[test]
    fn more_cells_never_make_less_skin((stoma, plate) in fitting(), marked in prop::collection::vec(any::<bool>(), 36)) {
        let cells: Vec<_> = every_cell(3).into_iter().zip(&marked).filter(|(_, on)| **on).map(|(cell, _)| cell).collect();
        let with = |finding: Finding| {
            let cells = cells.iter().map(|(hour, ring)| MapCell { hour: *hour, ring: *ring, finding }).collect();
            shares(&SkinMap { stoma, plate, rings: 3, cells }).unwrap()
        };
        let (eroded, discoloured) = (with(Finding::Eroded), with(Finding::Discoloured));
        prop_assert_eq!(eroded.discolouration.to_bits(), discoloured.discolouration.to_bits());
        prop_assert_eq!(eroded.erosion.to_bits(), eroded.discolouration.to_bits());
        prop_assert_eq!(discoloured.erosion.to_bits(), 0.0_f64.to_bits());
        prop_assert!((0.0..=100.0).contains(&eroded.discolouration));
        // Such shares can always be scored: the eroded share never exceeds the discoloured one.
        let severity = u8::from(eroded.erosion > 0.0);
        let domain = |domain| DomainInput { area: eroded.area(domain), severity };
        let assessment = Assessment {
            discolouration: domain(Domain::Discolouration),
            erosion: domain(Domain::Erosion),
            overgrowth: DomainInput { area: eroded.area(Domain::Overgrowth), severity: 0 },
        };
        prop_assert!(score(&assessment).is_ok());
    }
}

#[test]
fn skin_map_agrees_with_shapely() {
    let python = std::env::var("ROUNDEL_TEST_PYTHON")
        .expect("ROUNDEL_TEST_PYTHON is not set: run tests/run, it makes the Python environment");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/skin_map_oracle.py");
    let output = Command::new(&python).arg(script).arg("1000").output().expect("the oracle must start");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let (mut measured, mut turned_away, mut worst) = (0, 0, 0.0_f64);
    for line in String::from_utf8(output.stdout).unwrap().lines() {
        let case: Value = serde_json::from_str(line).unwrap();
        if case["refused"] == true {
            turned_away += 1;
            let errors = decide_map(&case["input"]).expect_err("shapely finds the stoma not inside the plate");
            assert_eq!(fields(&errors), ["plate.diameter_mm"], "{case}");
            continue;
        }
        measured += 1;
        let answer = decide_map(&case["input"]).unwrap_or_else(|errors| panic!("{errors:?}: {case}"));
        let of = |value: &Value| value.as_f64().unwrap();
        let skin = of(&case["skin_mm2"]);
        assert!((of(&answer["skin_mm2"]) - skin).abs() < 0.06 + skin * 1e-5, "{answer} for {case}");
        for domain in ["discolouration", "erosion", "overgrowth"] {
            let difference = (of(&answer["area_percent"][domain]) - of(&case["area_percent"][domain])).abs();
            // The contract: exact to 0.01 of a percentage point.
            assert!(difference < 0.01, "{domain} differs by {difference}: {answer} for {case}");
            worst = worst.max(difference);
        }
    }
    assert!(measured == 1000 && turned_away > 50, "{measured} measured, {turned_away} refused");
    println!("worst difference {worst:.2e} percentage points");
}

#[test]
fn the_schema_knows_the_fields_that_are_read() {
    let names = |value: &Value| value.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
    let schema: Value = serde_json::from_str(SCHEMA_MAP).unwrap();
    // An object with every field of the schema is read without an unknown field.
    let sample = |object: &Value| -> Value {
        names(&object["properties"]).into_iter().map(|name| (name, json!(20))).collect::<serde_json::Map<_, _>>().into()
    };
    let properties = &schema["properties"];
    let mut plate = sample(&properties["plate"]);
    plate["diameter_mm"] = json!(200);
    let mut cell = sample(&properties["cells"]["items"]);
    cell["hour"] = json!(12);
    cell["ring"] = json!(1);
    for finding in properties["cells"]["items"]["properties"]["finding"]["enum"].as_array().unwrap() {
        cell["finding"] = finding.clone();
        let input = json!({ "stoma": sample(&properties["stoma"]), "plate": plate, "rings": 10, "cells": [cell] });
        assert_eq!(names(properties), names(&input));
        decide_map(&input).unwrap();
    }
    assert_eq!(properties["rings"]["maximum"], roundel::skin::rules::map::MOST_RINGS);
}
