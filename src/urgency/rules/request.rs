//! The `urgency` decision: JSON in, JSON out, every mistake reported.
//!
//! Fields and names are a contract that other programs rely on: add fields, rename or drop none.

use chrono::NaiveDate;
use serde_json::{Value, json};

use crate::follow_up::rules::calendar::{Nation, WorkingDays};
use crate::follow_up::rules::facts::StomaKind;
use crate::json_input::{FieldErrors, Object, read_date};

use super::RULE_VERSION;
use super::signals::{Answer, Bleeding, Prolapse, Separation, Signal, Signals, StomaColour};
use super::thresholds::{Thresholds, shipped};
use super::urgency::{Decision, ReviewDates, decide_urgency};

struct Request {
    today: NaiveDate,
    days: WorkingDays,
    kind: StomaKind,
    signals: Signals,
    review: Option<ReviewDates>,
}

/// Decides by the shipped thresholds.
///
/// # Errors
/// Everything wrong with the input, by field.
pub fn decide(input: &Value) -> Result<Value, FieldErrors> {
    let mut errors = FieldErrors::default();
    let request = Object::read(input, "", &mut errors).and_then(|root| read_request(root, &mut errors));
    let request = errors.into_result(request)?;
    match shipped() {
        Ok(thresholds) => Ok(answer(&request, thresholds)),
        Err(fault) => {
            let mut errors = FieldErrors::default();
            errors.add("", fault.to_string());
            Err(errors)
        }
    }
}

fn read_request(mut root: Object, errors: &mut FieldErrors) -> Option<Request> {
    for name in ["today", "nation", "stoma", "signals"] {
        if !root.has(name) {
            root.missing(name, errors);
        }
    }
    let today = root.date("today", errors);
    let nation = root.choice("nation", Nation::ALL, errors);
    let closures: Vec<NaiveDate> = root
        .array("closures", errors)
        .unwrap_or_default()
        .into_iter()
        .filter_map(|(path, value)| read_date(value, &path, errors))
        .collect();
    let kind = root.object("stoma", errors).and_then(|mut stoma| {
        if !stoma.has("kind") {
            stoma.missing("kind", errors);
        }
        let kind = stoma.choice("kind", StomaKind::ALL, errors);
        stoma.finish(errors);
        kind
    });
    let signals = root.object("signals", errors).map(|object| read_signals(object, errors));
    let review = root.object("review", errors).map(|mut review| {
        if !review.has("planned") && !review.has("latest") {
            errors.add(review.at("planned"), "is missing: give planned, latest or both, or leave out review");
        }
        let dates = ReviewDates { planned: review.date("planned", errors), latest: review.date("latest", errors) };
        review.finish(errors);
        dates
    });
    root.finish(errors);
    let days = WorkingDays::new(nation?, &closures);
    Some(Request { today: today?, days, kind: kind?, signals: signals?, review })
}

fn read_signals(mut object: Object, errors: &mut FieldErrors) -> Signals {
    let signals = Signals {
        stoma_colour: object.choice("stoma_colour", StomaColour::CODES, errors),
        output_ml_24h: number(&mut object, Signal::Output, errors),
        no_output_hours: number(&mut object, Signal::NoOutput, errors),
        vomiting: object.flag("vomiting", errors),
        abdominal_pain: whole(&mut object, Signal::AbdominalPain, errors),
        bleeding: object.choice("bleeding", Bleeding::CODES, errors),
        fever: object.flag("fever", errors),
        spreading_redness: object.flag("spreading_redness", errors),
        separation: object.choice("separation", Separation::CODES, errors),
        prolapse: object.choice("prolapse", Prolapse::CODES, errors),
        hernia: object.flag("hernia", errors),
        rapid_painful_ulcer: object.flag("rapid_painful_ulcer", errors),
        dehydration_signs: object.flag("dehydration_signs", errors),
        score: whole(&mut object, Signal::Score, errors),
        previous_score: whole(&mut object, Signal::PreviousScore, errors),
        skin_pain: whole(&mut object, Signal::SkinPain, errors),
        leaks_of_last_10: whole(&mut object, Signal::Leaks, errors),
        pouch_off_per_day: number(&mut object, Signal::PouchOff, errors),
        overdue_days: whole(&mut object, Signal::OverdueDays, errors),
        missed_in_a_row: whole(&mut object, Signal::MissedInARow, errors),
        days_since_discharge: whole(&mut object, Signal::DaysSinceDischarge, errors),
        first_contact_made: object.flag("first_contact_made", errors),
        supply_ratio: number(&mut object, Signal::SupplyRatio, errors),
        not_coping: object.flag("not_coping", errors),
    };
    object.finish(errors);
    signals
}

fn whole(object: &mut Object, signal: Signal, errors: &mut FieldErrors) -> Option<u32> {
    let Answer::Whole(most) = signal.answer() else { return None };
    object.whole(signal.code(), 0..=i64::from(most), errors).and_then(|n| u32::try_from(n).ok())
}

fn number(object: &mut Object, signal: Signal, errors: &mut FieldErrors) -> Option<f64> {
    let Answer::Number(most) = signal.answer() else { return None };
    object.number(signal.code(), 0.0..=most, errors)
}

fn answer(request: &Request, thresholds: &Thresholds) -> Value {
    let Request { today, days, kind, signals, review } = request;
    let decision = decide_urgency(thresholds, *today, days, *kind, signals, *review);
    let reasons: Vec<Value> = decision
        .reasons
        .iter()
        .map(|reason| {
            json!({
                "signal": reason.signal.code(),
                "band": reason.band.code(),
                "text": reason.text,
                "source": reason.source.source.as_ref(),
                "standing": reason.source.standing.code(),
                "threshold": reason.rule,
                "red_flag": reason.red_flag,
            })
        })
        .collect();
    json!({
        "band": decision.band.code(),
        "respond_by": decision.respond_by.map(|date| date.to_string()),
        "reasons": reasons,
        "advice": decision.advice,
        "notes": notes(&decision, &request.days),
        "bands": { "source": thresholds.bands.source.as_ref(), "standing": thresholds.bands.standing.code() },
        "thresholds_version": decision.thresholds,
        "rule_version": RULE_VERSION,
    })
}

/// What the reader must know of the date: working days counted where bank holidays are not known.
fn notes(decision: &Decision, days: &WorkingDays) -> Vec<String> {
    let counted = decision.band.working_days().is_some_and(|days| days > 0);
    decision.respond_by.filter(|_| counted).and_then(|on| days.unknown_holidays(on)).into_iter().collect()
}
