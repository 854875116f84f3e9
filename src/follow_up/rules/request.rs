//! The JSON contract of `roundel rules follow-up`: one request in, the plan out, every mistake reported.
//!
//! It must not decide anything: it reads, calls [`plan`] and writes. Fields may be added; none is renamed or dropped.

use std::borrow::Cow;

use chrono::{Datelike, NaiveDate};
use serde_json::{Value, json};

use super::RULE_VERSION;
use super::calendar::{Nation, WorkingDays};
use super::facts::{Anchors, Construction, EndReason, Ended, Permanence, StomaFacts, StomaKind, SurgeryType};
use super::plan::{Plan, PlanRequest, PlannedReview, check_dates, furthest, plan};
use super::protocol::Protocol;
use super::shipped::{shipped, shipped_by_id};
use crate::json_input::{FieldErrors, Object, read_date};

/// JSON Schema (2020-12) of what [`decide`] takes.
pub const SCHEMA: &str = include_str!("schema.json");

/// Years taken for a date; a slip such as 0206 for 2026 must not become a plan. Standing: local.
const YEARS: std::ops::RangeInclusive<i32> = 1900..=2200;

/// Decides one request.
pub fn decide(input: &Value) -> Result<Value, FieldErrors> {
    let mut errors = FieldErrors::default();
    let request = read(input, &mut errors);
    let request = errors.into_result(request)?;
    let request = request.as_plan();
    Ok(answer(&plan(&request), &request))
}

/// A request that owns what [`PlanRequest`] borrows.
struct Request {
    days: WorkingDays,
    until: NaiveDate,
    stoma: StomaFacts,
    anchors: Anchors,
    protocol: Cow<'static, Protocol>,
    ended: Option<Ended>,
}

impl Request {
    fn as_plan(&self) -> PlanRequest<'_> {
        PlanRequest {
            days: &self.days,
            until: self.until,
            stoma: self.stoma,
            anchors: self.anchors,
            protocol: &self.protocol,
            ended: self.ended,
        }
    }
}

fn read(input: &Value, errors: &mut FieldErrors) -> Option<Request> {
    let mut object = Object::read(input, "", errors)?;
    let nation = object.choice("nation", Nation::ALL, errors);
    let closures = closures(&mut object, errors);
    let until = date(&mut object, "until", errors);
    let stoma = stoma(&mut object, errors);
    let anchors = anchors(&mut object, errors);
    let protocol = protocol(&mut object, errors);
    let ended = ended(&mut object, errors);
    for name in ["nation", "stoma", "anchors", "protocol"] {
        if !object.has(name) {
            object.missing(name, errors);
        }
    }
    let repeats = protocol.as_ref().is_some_and(|protocol| protocol.steps.iter().any(|step| step.repeat.is_some()));
    if repeats && !object.has("until") {
        errors.add("until", "is missing: a step repeats, so say until which date to plan");
    }
    object.finish(errors);
    let anchors = anchors?;
    let furthest = anchors.earliest().map_or(NaiveDate::MAX, |(_, earliest)| furthest(earliest));
    let until = until.unwrap_or(furthest);
    if let Err(found) = check_dates(&anchors, until) {
        errors.errors.extend(found.errors);
    }
    let days = WorkingDays::new(nation?, &closures?);
    Some(Request { days, until, stoma: stoma?, anchors, protocol: protocol?, ended })
}

fn closures(object: &mut Object<'_>, errors: &mut FieldErrors) -> Option<Vec<NaiveDate>> {
    if !object.has("closures") {
        object.value("closures");
        return Some(Vec::new());
    }
    let listed = object.array("closures", errors)?;
    listed.into_iter().map(|(path, value)| read_date(value, &path, errors)).collect::<Vec<_>>().into_iter().collect()
}

fn stoma(object: &mut Object<'_>, errors: &mut FieldErrors) -> Option<StomaFacts> {
    let mut stoma = object.object("stoma", errors)?;
    let kind = stoma.choice("kind", StomaKind::ALL, errors);
    if !stoma.has("kind") {
        stoma.missing("kind", errors);
    }
    let construction = stoma.choice("construction", Construction::ALL, errors);
    let permanence = stoma.choice("permanence", Permanence::ALL, errors);
    let surgery = stoma.choice("surgery", SurgeryType::ALL, errors);
    stoma.finish(errors);
    Some(StomaFacts { kind: kind?, construction, permanence, surgery })
}

fn anchors(object: &mut Object<'_>, errors: &mut FieldErrors) -> Option<Anchors> {
    let mut anchors = object.object("anchors", errors)?;
    let read = Anchors {
        surgery: date(&mut anchors, "surgery", errors),
        discharge: date(&mut anchors, "discharge", errors),
        last_completed: date(&mut anchors, "last-completed", errors),
        reversal: date(&mut anchors, "reversal", errors),
    };
    anchors.finish(errors);
    Some(read)
}

fn protocol(object: &mut Object<'_>, errors: &mut FieldErrors) -> Option<Cow<'static, Protocol>> {
    match object.value("protocol")? {
        Value::String(id) => {
            let found = shipped_by_id(id).map(Cow::Borrowed);
            if found.is_none() {
                let ids: Vec<&str> = shipped().iter().map(|protocol| protocol.id.as_str()).collect();
                errors.add("protocol", format!("no protocol '{id}' is shipped; there are {}", ids.join(", ")));
            }
            found
        }
        value @ Value::Object(_) => Protocol::from_json(value, "protocol", errors).map(Cow::Owned),
        _ => {
            errors.add("protocol", "must be a protocol, or the id of a shipped one");
            None
        }
    }
}

/// An end that cannot be read is an error, so that `None` safely means that there is none.
fn ended(object: &mut Object<'_>, errors: &mut FieldErrors) -> Option<Ended> {
    let mut ended = object.object("ended", errors)?;
    let reason = ended.choice("reason", EndReason::ALL, errors);
    let on = date(&mut ended, "on", errors);
    for name in ["reason", "on"] {
        if !ended.has(name) {
            ended.missing(name, errors);
        }
    }
    ended.finish(errors);
    Some(Ended { reason: reason?, on: on? })
}

fn date(object: &mut Object<'_>, name: &'static str, errors: &mut FieldErrors) -> Option<NaiveDate> {
    let date = object.date(name, errors)?;
    if YEARS.contains(&date.year()) {
        return Some(date);
    }
    errors
        .add(object.at(name), format!("must lie in the years {} to {}: correct the year", YEARS.start(), YEARS.end()));
    None
}

fn answer(plan: &Plan, request: &PlanRequest<'_>) -> Value {
    let holidays = request.days.table();
    let protocol = request.protocol;
    json!({
        "reviews": plan.reviews.iter().map(review).collect::<Vec<_>>(),
        "waiting": plan.waiting.iter().map(|waiting| json!({
            "step": waiting.step, "for": waiting.waits_for, "text": format!("waits: {} is not known", waiting.words()),
        })).collect::<Vec<_>>(),
        "left_out": plan.left_out.iter().map(|left_out| json!({
            "step": left_out.step, "text": left_out.reason,
        })).collect::<Vec<_>>(),
        "notes": plan.notes,
        "protocol": {
            "id": protocol.id, "title": protocol.title, "version": protocol.version, "source": protocol.source,
            "year": protocol.year, "address": protocol.address, "standing": protocol.standing.code(), "note": protocol.note,
        },
        "bank_holidays": {
            "source": holidays.source.source, "standing": holidays.source.standing.code(),
            "loaded": holidays.loaded.map(|on| on.to_string()),
            "first_year": holidays.first_year, "last_year": holidays.last_year,
        },
        "rule_version": RULE_VERSION,
    })
}

fn review(review: &PlannedReview) -> Value {
    json!({
        "step": review.step,
        "occurrence": review.occurrence,
        "anchor": review.anchor.code(),
        "shape": review.shape.code(),
        "nominal": review.nominal.to_string(),
        "earliest": review.earliest.map(|on| on.to_string()),
        "latest": review.latest.to_string(),
        "planned": review.planned.to_string(),
        "mode": review.mode.code(),
        "outside_window": review.outside_window,
        "reasons": review.reasons,
    })
}
