//! The `skin` and `skin-map` decisions: JSON in, JSON out, every mistake reported.
//!
//! Fields, names and rounding are a contract that other programs rely on: add fields, rename or drop none.

use serde_json::{Value, json};

use crate::json_input::{FieldErrors, Object};

use super::RULE_VERSION;
use super::geometry::{Plate, Stoma};
use super::map::{Finding, MOST_RINGS, MapCell, SkinMap, shares, skin_of};
use super::score::{Area, Domain, DomainRead, DomainScore, Score, score_read};

/// Largest stoma width or height accepted (mm). Local: a slip of the pen, not a measurement, lies beyond.
pub const MOST_STOMA_MM: f64 = 300.0;
/// Largest plate diameter or offset accepted (mm). Local: the same.
pub const MOST_PLATE_MM: f64 = 500.0;
/// Smallest stoma width or height and smallest plate accepted (mm). Local: the same.
pub const LEAST_MM: f64 = 1.0;

/// Scores `{"discolouration":{…},"erosion":{…},"overgrowth":{…}}`.
///
/// # Errors
/// Everything wrong with the input, by field.
pub fn decide_score(input: &Value) -> Result<Value, FieldErrors> {
    let mut errors = FieldErrors::default();
    let read = Object::read(input, "", &mut errors).map(|mut root| {
        let read = Domain::ALL.map(|domain| read_domain(&mut root, domain, &mut errors));
        root.finish(&mut errors);
        read
    });
    let scored = read.and_then(|read| score_read(read, &mut errors));
    errors.into_result(scored).map(|score| answer_score(&score))
}

fn read_domain(root: &mut Object, domain: Domain, errors: &mut FieldErrors) -> DomainRead {
    let name = domain.code();
    if !root.has(name) {
        // Asked for all the same, so that a null is not reported twice.
        root.value(name);
        root.missing(name, errors);
        return DomainRead::default();
    }
    let Some(mut object) = root.object(name, errors) else { return DomainRead::default() };
    let (has_percent, has_points) = (object.has("area_percent"), object.has("area_points"));
    let percent = object.number("area_percent", 0.0..=100.0, errors).map(Area::Percent);
    let points = object.whole("area_points", 0..=3, errors).and_then(|n| u8::try_from(n).ok()).map(Area::Points);
    let area = match (has_percent, has_points) {
        (true, true) => {
            errors.add(object.at("area_points"), "must not be given with area_percent: leave out one of the two");
            None
        }
        (false, false) => {
            errors.add(object.at("area_percent"), "is missing: give area_percent or area_points");
            None
        }
        _ => percent.or(points),
    };
    if !object.has("severity") {
        object.missing("severity", errors);
    }
    let severity = object.whole("severity", 0..=2, errors).and_then(|n| u8::try_from(n).ok());
    object.finish(errors);
    DomainRead { area, severity }
}

fn answer_score(score: &Score) -> Value {
    let domain =
        |of: DomainScore| json!({ "area_points": of.area_points, "severity": of.severity, "points": of.points });
    let bands: Vec<Value> = score
        .bands
        .iter()
        .map(|verdict| {
            json!({
                "set": verdict.set,
                "band": verdict.band.code(),
                "source": verdict.source.source.as_ref(),
                "standing": verdict.source.standing.code(),
            })
        })
        .collect();
    json!({
        "score": score.score,
        "domains": {
            "discolouration": domain(score.domains.discolouration),
            "erosion": domain(score.domains.erosion),
            "overgrowth": domain(score.domains.overgrowth),
        },
        "bands": bands,
        "rule_version": RULE_VERSION,
    })
}

/// Measures `{"stoma":{…},"plate":{…},"rings":3,"cells":[…]}`.
///
/// # Errors
/// Everything wrong with the input, by field.
pub fn decide_map(input: &Value) -> Result<Value, FieldErrors> {
    let mut errors = FieldErrors::default();
    let map = Object::read(input, "", &mut errors).and_then(|root| read_map(root, &mut errors));
    let shares = shares(&errors.into_result(map)?)?;
    Ok(json!({
        "skin_mm2": shares.skin_mm2,
        "area_percent": {
            "discolouration": shares.discolouration,
            "erosion": shares.erosion,
            "overgrowth": shares.overgrowth,
        },
        "rule_version": RULE_VERSION,
    }))
}

fn read_map(mut root: Object, errors: &mut FieldErrors) -> Option<SkinMap> {
    for name in ["stoma", "plate", "rings", "cells"] {
        if !root.has(name) {
            root.missing(name, errors);
        }
    }
    let stoma = root.object("stoma", errors).and_then(|object| read_stoma(object, errors));
    let plate = root.object("plate", errors).and_then(|object| read_plate(object, errors));
    let rings = root.whole("rings", 1..=i64::from(MOST_RINGS), errors).and_then(|n| u8::try_from(n).ok());
    let cells = root.array("cells", errors).map(|cells| {
        let most = rings.unwrap_or(MOST_RINGS);
        cells.into_iter().filter_map(|(path, cell)| read_cell(cell, &path, most, errors)).collect()
    });
    root.finish(errors);
    let (stoma, plate) = (stoma?, plate?);
    // Checked before the other fields are let go, so that it is reported with their faults.
    skin_of(stoma, plate, errors)?;
    Some(SkinMap { stoma, plate, rings: rings?, cells: cells? })
}

fn read_length(object: &mut Object, name: &'static str, most: f64, errors: &mut FieldErrors) -> Option<f64> {
    if !object.has(name) {
        object.missing(name, errors);
    }
    object.number(name, LEAST_MM..=most, errors)
}

fn read_stoma(mut object: Object, errors: &mut FieldErrors) -> Option<Stoma> {
    let width_mm = read_length(&mut object, "width_mm", MOST_STOMA_MM, errors);
    let height_mm = read_length(&mut object, "height_mm", MOST_STOMA_MM, errors);
    object.finish(errors);
    Some(Stoma { width_mm: width_mm?, height_mm: height_mm? })
}

fn read_plate(mut object: Object, errors: &mut FieldErrors) -> Option<Plate> {
    let diameter_mm = read_length(&mut object, "diameter_mm", MOST_PLATE_MM, errors);
    let mut offset = |name| {
        if object.has(name) {
            object.number(name, -MOST_PLATE_MM..=MOST_PLATE_MM, errors)
        } else {
            object.value(name);
            Some(0.0)
        }
    };
    let to_left = offset("offset_x_mm");
    let to_head = offset("offset_y_mm");
    object.finish(errors);
    Some(Plate { diameter_mm: diameter_mm?, offset_x_mm: to_left?, offset_y_mm: to_head? })
}

fn read_cell(cell: &Value, path: &str, rings: u8, errors: &mut FieldErrors) -> Option<MapCell> {
    let mut object = Object::read(cell, path, errors)?;
    for name in ["hour", "ring", "finding"] {
        if !object.has(name) {
            object.missing(name, errors);
        }
    }
    let hour = object.whole("hour", 1..=12, errors).and_then(|n| u8::try_from(n).ok());
    let ring = object.whole("ring", 1..=i64::from(rings), errors).and_then(|n| u8::try_from(n).ok());
    let finding = object.choice("finding", &Finding::CODES, errors);
    object.finish(errors);
    Some(MapCell { hour: hour?, ring: ring?, finding: finding? })
}
