//! `roundel rules supply`: a supply request in JSON, its decision in JSON.
//!
//! Every mistake of the input is reported, none repaired. What is odd but possible (a two-piece pouch without a
//! flange, a stoma of 70 mm) is a finding of the decision, not an error here.

use std::num::NonZeroU32;
use std::ops::RangeInclusive;

use serde_json::{Value, json};

use super::RULE_VERSION;
use super::findings::Finding;
use super::items::ItemCategory;
use super::order::{
    Avoid, Convexity, Coupling, Difficulty, Line, LinePlan, PatientFit, StomaFinding, StomaFit, StomaKind, SupplyPlan,
    SupplyRequest, Wear, decide_supply,
};
use super::quantity::{Period, Rational, Use, decimal_words};
use super::sets::{Counts, SetId, SetPeriod, shipped_set};
use super::verdict::{Verdict, verdict_in_words};
use crate::json_input::{FieldErrors, Object};

/// The JSON Schema of what [`decide`] takes.
pub const SCHEMA: &str = include_str!("schema.json");

/// Bounds against typing mistakes, not clinical limits. The schema repeats them; a test compares the two.
const MAX_LINES: usize = 100;
const MAX_COUNT: i64 = 1_000_000;
const WIDTH_MM: RangeInclusive<f64> = 1.0..=200.0;
const PROTRUSION_MM: RangeInclusive<f64> = -100.0..=200.0;
const MAX_WEEKS: i64 = 6_000;
const MAX_CONTENT: i64 = 5_000;
const MAX_TEXT: usize = 200;

/// Decides a request; all that is wrong with it otherwise.
pub fn decide(input: &Value) -> Result<Value, FieldErrors> {
    read_request(input).map(|request| plan_json(&decide_supply(&request)))
}

/// Reads a request without deciding it.
pub fn read_request(input: &Value) -> Result<SupplyRequest, FieldErrors> {
    let mut errors = FieldErrors::default();
    let Some(mut root) = Object::read(input, "", &mut errors) else { return Err(errors) };
    let period = whole(&mut root, "period_days", i64::from(Period::MAX_DAYS), true, &mut errors)
        .and_then(|days| u16::try_from(days).ok())
        .and_then(Period::new);
    let stoma = root.object("stoma", &mut errors);
    if !root.has("stoma") {
        root.missing("stoma", &mut errors);
    }
    let stoma = stoma.and_then(|stoma| read_stoma(stoma, &mut errors));
    let patient = root.object("patient", &mut errors).map(|patient| read_patient(patient, &mut errors));
    let lines = read_lines(&mut root, &mut errors);
    let sets = codes(&mut root, "sets", SetId::CHOICES, &mut errors);
    root.finish(&mut errors);
    let request = period.zip(stoma).map(|(period_days, stoma)| SupplyRequest {
        period_days,
        stoma,
        patient: patient.unwrap_or_default(),
        lines,
        sets,
    });
    errors.into_result(request)
}

fn read_stoma(mut stoma: Object<'_>, errors: &mut FieldErrors) -> Option<StomaFit> {
    let kind = stoma.choice("kind", StomaKind::CHOICES, errors);
    if !stoma.has("kind") {
        stoma.missing("kind", errors);
    }
    let fit = StomaFit {
        kind: kind.unwrap_or(StomaKind::Colostomy),
        with_urostomy: stoma.flag("with_urostomy", errors).unwrap_or(false),
        width_mm: stoma.number("width_mm", WIDTH_MM, errors),
        height_mm: stoma.number("height_mm", WIDTH_MM, errors),
        protrusion_mm: stoma.number("protrusion_mm", PROTRUSION_MM, errors),
        weeks_since_surgery: stoma.whole("weeks_since_surgery", 0..=MAX_WEEKS, errors).and_then(|n| n.try_into().ok()),
        findings: codes(&mut stoma, "findings", StomaFinding::CHOICES, errors),
    };
    if fit.with_urostomy && kind == Some(StomaKind::Urostomy) {
        errors.add(stoma.at("with_urostomy"), "needs the other stoma as kind: colostomy or ileostomy");
    }
    stoma.finish(errors);
    kind.map(|_| fit)
}

fn read_patient(mut patient: Object<'_>, errors: &mut FieldErrors) -> PatientFit {
    let mut allergies = Vec::new();
    for (path, value) in patient.array("allergies", errors).unwrap_or_default() {
        match value.as_str().map(str::trim) {
            Some(text) if !text.is_empty() && text.chars().count() <= MAX_TEXT => allergies.push(text.to_owned()),
            _ => errors.add(path, format!("must be a text of 1 to {MAX_TEXT} characters, as \"latex\"")),
        }
    }
    let fit = PatientFit {
        allergies,
        avoids: codes(&mut patient, "avoids", Avoid::CHOICES, errors),
        difficulties: codes(&mut patient, "difficulties", Difficulty::CHOICES, errors),
        neonate: patient.flag("neonate", errors).unwrap_or(false),
    };
    patient.finish(errors);
    fit
}

fn read_lines(root: &mut Object<'_>, errors: &mut FieldErrors) -> Vec<Line> {
    if !root.has("lines") {
        root.missing("lines", errors);
    }
    let Some(lines) = root.array("lines", errors) else { return Vec::new() };
    if !(1..=MAX_LINES).contains(&lines.len()) {
        errors.add("lines", format!("must have from 1 to {MAX_LINES} lines"));
        return Vec::new();
    }
    let read = |(path, value): (String, &Value)| Object::read(value, &path, errors).and_then(|o| read_line(o, errors));
    lines.into_iter().filter_map(read).collect()
}

fn read_line(mut line: Object<'_>, errors: &mut FieldErrors) -> Option<Line> {
    let items: Vec<(&str, ItemCategory)> = ItemCategory::ALL.iter().map(|item| (item.code(), *item)).collect();
    let item = line.choice("item", &items, errors);
    if !line.has("item") {
        line.missing("item", errors);
    }
    let pack = whole(&mut line, "pack", MAX_COUNT, true, errors);
    let uses = line.object("use", errors);
    if !line.has("use") {
        line.missing("use", errors);
    }
    let uses = uses.and_then(|uses| read_use(uses, errors));
    let on_hand = line.whole("on_hand", 0..=MAX_COUNT, errors).and_then(|n| n.try_into().ok()).unwrap_or(0);
    let hcpcs = line.text("hcpcs", errors).map(str::to_owned);
    let content_g = whole(&mut line, "content_g", MAX_CONTENT, false, errors);
    let content_ml = whole(&mut line, "content_ml", MAX_CONTENT, false, errors);
    check_code(&line, hcpcs.as_deref(), content_g, content_ml, errors);
    let coupling_mm = line.number("coupling_mm", WIDTH_MM, errors);
    let coupling = line.choice("coupling", Coupling::CHOICES, errors);
    let aperture_mm = line.number("aperture_mm", WIDTH_MM, errors);
    let precut = line.flag("precut", errors);
    let convexity = line.choice("convexity", Convexity::CHOICES, errors);
    let wear = line.choice("wear", Wear::CHOICES, errors);
    let latex = line.flag("latex", errors);
    let animal_derived = line.flag("animal_derived", errors);
    let reason = line.text("reason", errors).map(str::to_owned);
    line.finish(errors);
    Some(Line {
        on_hand,
        hcpcs,
        content_g,
        content_ml,
        coupling_mm,
        coupling,
        aperture_mm,
        precut,
        convexity,
        wear,
        latex,
        animal_derived,
        reason,
        ..Line::new(item?, NonZeroU32::new(pack?)?, uses?)
    })
}

fn read_use(mut uses: Object<'_>, errors: &mut FieldErrors) -> Option<Use> {
    if uses.value("units").is_some_and(Value::is_f64) {
        errors.add(uses.at("units"), "must be a whole number; write 2.5 a day as units 5, every_days 2");
    }
    let units = (!uses.value("units").is_some_and(Value::is_f64))
        .then(|| whole(&mut uses, "units", i64::from(Use::MAX_UNITS), true, errors))
        .flatten();
    let days = whole(&mut uses, "every_days", i64::from(Use::MAX_DAYS), true, errors);
    uses.finish(errors);
    Use::new(units?, days?)
}

/// A code has to be one of the table, and a content has to be in the code's own measure.
fn check_code(
    line: &Object<'_>,
    code: Option<&str>,
    grams: Option<u32>,
    millilitres: Option<u32>,
    errors: &mut FieldErrors,
) {
    let Some(code) = code else { return };
    let Some(row) = shipped_set(SetId::UsCoverage).and_then(|set| set.row_by_code(code)) else {
        errors.add(line.at("hcpcs"), "is not a code of the us-coverage set; leave it out to use the item's own");
        return;
    };
    let fluid = matches!(row.counts, Counts::FluidOunce | Counts::SixteenFluidOunces);
    if row.counts == Counts::Ounce && millilitres.is_some() && grams.is_none() {
        errors.add(line.at("content_ml"), format!("{code} counts ounces by weight: give content_g"));
    } else if fluid && grams.is_some() && millilitres.is_none() {
        errors.add(line.at("content_g"), format!("{code} counts fluid ounces: give content_ml"));
    } else if matches!(row.counts, Counts::SquareInches | Counts::MonthAllowance)
        && (grams, millilitres) != (None, None)
    {
        errors.add(line.at("hcpcs"), format!("{code} counts neither weight nor volume: leave the content out"));
    }
}

/// A whole number from 1 to `most`; missing is an error only when it is required.
fn whole(
    object: &mut Object<'_>,
    name: &'static str,
    most: i64,
    required: bool,
    errors: &mut FieldErrors,
) -> Option<u32> {
    let found = object.whole(name, 1..=most, errors);
    if required && !object.has(name) {
        object.missing(name, errors);
    }
    found.and_then(|n| n.try_into().ok())
}

/// A list of codes without repeats; absent is empty.
fn codes<T: Copy>(
    object: &mut Object<'_>,
    name: &'static str,
    choices: &[(&str, T)],
    errors: &mut FieldErrors,
) -> Vec<T> {
    let mut seen = std::collections::BTreeSet::new();
    let mut found = Vec::new();
    for (path, value) in object.array(name, errors).unwrap_or_default() {
        let known = value.as_str().and_then(|code| choices.iter().find(|(known, _)| *known == code));
        match known {
            Some((code, value)) if seen.insert(*code) => found.push(*value),
            Some(_) => errors.add(path, "stands in the list twice"),
            None => {
                let codes: Vec<&str> = choices.iter().map(|(code, _)| *code).collect();
                errors.add(path, format!("must be one of {}", codes.join(", ")));
            }
        }
    }
    found
}

/// An object of these fields. `json!` would copy every nested value once for each level that it lies deep.
fn object<const N: usize>(fields: [(&str, Value); N]) -> Value {
    Value::Object(fields.into_iter().map(|(name, value)| (name.to_owned(), value)).collect())
}

fn plan_json(plan: &SupplyPlan) -> Value {
    object([
        ("rule_version", RULE_VERSION.into()),
        ("lines", plan.lines.iter().map(line_json).collect()),
        ("findings", plan.findings.iter().map(finding_json).collect()),
    ])
}

fn line_json(line: &LinePlan) -> Value {
    object([
        ("item", line.item.code().into()),
        ("units", line.units.into()),
        ("packs", line.packs.into()),
        ("supplied", line.supplied.into()),
        ("surplus", line.surplus.into()),
        ("left_at_end", line.left_at_end.into()),
        ("days_supply", line.days_supply.into()),
        ("verdicts", line.verdicts.iter().map(verdict_json).collect()),
    ])
}

fn verdict_json(verdict: &Verdict) -> Value {
    object([
        ("set", verdict.set.as_str().into()),
        ("verdict", verdict.band.code().into()),
        ("low", number(verdict.printed.low)),
        ("high", number(verdict.printed.high)),
        ("ceiling", number(verdict.printed.ceiling)),
        ("period", verdict.period.map(SetPeriod::code).into()),
        ("period_days", verdict.period_days.into()),
        ("used_in_period", verdict.rate.map(decimal_words).into()),
        ("counts", verdict.counts.code().into()),
        ("code", verdict.code.as_deref().into()),
        ("shared_with", verdict.shared_with.iter().copied().collect()),
        ("text", verdict_in_words(verdict).into()),
        ("note", verdict.note.as_deref().into()),
        ("source", verdict.source.source.as_ref().into()),
        ("year", verdict.year.as_str().into()),
        ("standing", verdict.source.standing.code().into()),
    ])
}

fn finding_json(finding: &Finding) -> Value {
    object([
        ("rule", finding.rule.as_str().into()),
        ("level", finding.level.code().into()),
        ("lines", finding.lines.iter().copied().collect()),
        ("text", finding.text.as_str().into()),
        ("source", finding.source.source.as_ref().into()),
        ("standing", finding.source.standing.code().into()),
    ])
}

/// A figure as JSON: whole where it is whole. Figures are small and halves at most, so the decimal form is exact.
fn number(figure: Option<Rational>) -> Value {
    match figure {
        None => Value::Null,
        Some(figure) if figure.is_integer() => json!(figure.to_integer()),
        Some(figure) => json!(*figure.numer() as f64 / *figure.denom() as f64),
    }
}
