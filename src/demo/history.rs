//! Writing what has happened: contacts, assessments, bookings, missed reviews, as of the days on which they were.

use chrono::{Duration, NaiveDate, NaiveTime};

use super::stories::{Ending, Seen, Story};
use crate::contacts::store::{self as contacts, Contact};
use crate::db::ids::{AssessmentId, ContactId, StaffId};
use crate::db::{Doc, Stamp, StoreError, Tx};
use crate::follow_up::rules::WorkingDays;
use crate::follow_up::store::{self as reviews, Review};
use crate::skin::rules::calibration::range;
use crate::skin::rules::{Finding, MapCell, RULE_VERSION, bands};
use crate::skin::store::{
    self as skin, AssessmentRow, DomainJudged, Inputs, Judged, MapFound, PlateFound, StomaFound, Symptoms,
};
use crate::stomas::store::Stoma;

/// Late morning of a day: when visits are recorded.
pub fn late_morning(on: NaiveDate) -> Stamp {
    Stamp::new(on.and_time(NaiveTime::from_hms_opt(11, 20, 0).unwrap_or(NaiveTime::MIN)).and_utc())
}

/// One visit with its assessment.
pub fn visit(tx: &mut Tx<'_>, stoma: &Stoma, seen: &Seen, by: StaffId, today: NaiveDate) -> Result<(), StoreError> {
    let on = today - Duration::days(seen.days_ago);
    let at = late_morning(on).min(tx.now());
    let domain = |(area_points, severity): (u8, u8)| DomainJudged { area_points, severity };
    let [discolouration, erosion, overgrowth] = seen.judged.map(domain);
    let judged = Judged { discolouration, erosion, overgrowth };
    let score = judged.score().map_err(|e| StoreError::Backend(format!("an invented score: {e:?}")))?;
    let is_finding =
        |code: &&&str| crate::contacts::clinic_words::known(&crate::contacts::clinic_words::STOMA_FINDINGS, code);
    let contact = Contact {
        id: ContactId::new(),
        service_id: stoma.service_id,
        patient_id: stoma.patient_id,
        stoma_id: Some(stoma.id),
        review_id: None,
        mode: "clinic".to_owned(),
        outcome: "fulfilled".to_owned(),
        held_on: on,
        note: None,
        made_by: by,
        created_at: at,
    };
    contacts::add(tx, &contact)?;
    let cells = drawn(seen.judged);
    let row = AssessmentRow {
        id: AssessmentId::new(),
        service_id: stoma.service_id,
        patient_id: stoma.patient_id,
        stoma_id: stoma.id,
        contact_id: Some(contact.id),
        assessed_on: on,
        inputs: Doc::of(&Inputs { judged, map: MapFound::default() })?,
        score: i32::from(score.score),
        discolouration: i32::from(score.domains.discolouration.points),
        erosion: i32::from(score.domains.erosion.points),
        overgrowth: i32::from(score.domains.overgrowth.points),
        band_set: "a".to_owned(),
        band: bands::set("a").map_or("", |set| set.band(score.score).words()).to_owned(),
        rule_version: RULE_VERSION.to_owned(),
        symptoms: Doc::of(&Symptoms {
            itch: seen.codes.contains(&"itch").then_some(4),
            burning: (seen.pain > 3).then(|| seen.pain - 2),
            leak_hour: (seen.leaks > 0).then_some(6),
            leaks_of_last_10: Some(seen.leaks),
            wear_days: Some(if stoma.kind == "colostomy" { 1 } else { 3 }),
            skin_pain: Some(seen.pain),
            output_ml_24h: seen.output,
            also: seen.codes.iter().filter(|c| !is_finding(c) && **c != "itch").map(ToString::to_string).collect(),
            ..Symptoms::default()
        })?,
        findings: Doc::of(&StomaFound {
            width_mm: stoma.width_mm,
            height_mm: stoma.height_mm,
            protrusion_mm: stoma.protrusion_mm,
            colour: Some(seen.colour.to_owned()),
            plate: Some(PlateFound { diameter_mm: PLATE_MM, ..PlateFound::default() }),
            findings: seen.codes.iter().filter(is_finding).map(ToString::to_string).collect(),
            ..StomaFound::default()
        })?,
        cause: seen.cause.map(str::to_owned),
        plan: Some(
            if score.score == 0 { "No change." } else { "Stoma measured, opening cut anew, seal fitted." }.to_owned(),
        ),
        status: "signed".to_owned(),
        amends_id: None,
        amend_reason: None,
        signed_by: by,
        signed_at: at,
    };
    skin::sign(tx, &row)?;
    skin::keep_map(tx, &row, &cells)
}

/// Plate of every invented patient, mm.
const PLATE_MM: i32 = 100;

/// A map whose areas make the points that were judged, round six o'clock where a leak runs.
fn drawn(judged: [(u8, u8); 3]) -> Vec<MapCell> {
    let [(discoloured, _), (eroded, _), (overgrown, _)] = judged;
    let mut cells = match discoloured {
        0 => return Vec::new(),
        1 => range(5, 7, &[1], Finding::Discoloured),
        2 => range(3, 9, &[1, 2], Finding::Discoloured),
        _ => range(1, 12, &[1, 2, 3], Finding::Discoloured),
    };
    cells.extend(match eroded {
        0 => Vec::new(),
        1 => range(5, 6, &[1], Finding::Eroded),
        _ => range(2, 9, &[1, 2], Finding::Eroded),
    });
    cells.extend(match overgrown {
        0 => Vec::new(),
        1 => range(7, 8, &[1], Finding::Overgrown),
        _ => range(2, 9, &[1, 2], Finding::Overgrown),
    });
    cells
}

/// The ending, as far as it is about reviews.
pub fn end(
    tx: &mut Tx<'_>,
    story: &Story,
    stoma: &Stoma,
    today: NaiveDate,
    days: &WorkingDays,
) -> Result<(), StoreError> {
    let held = reviews::of_patient(tx.conn(), stoma.service_id, stoma.patient_id)?;
    let Some(next) = held.iter().filter(|r| r.is_open()).min_by_key(|r| (r.due_on(), r.id)).cloned() else {
        return Ok(());
    };
    match story.ending {
        Ending::Booked(ahead, time) => {
            let on = days.add_working_days(days.next_on_or_after(today), ahead);
            let booked =
                Review { status: "booked".to_owned(), booked_on: Some(on), booked_time: Some(time.to_owned()), ..next };
            reviews::replace(tx, booked)
        }
        Ending::Deferred => {
            let on = days.add_working_days(today, 3);
            let deferred = Review {
                planned_on: on,
                by_hand: true,
                deferred_reason: Some("Away until then, rang to say so".to_owned()),
                ..next
            };
            reviews::replace(tx, deferred)
        }
        Ending::MissedTwice => {
            let first_on = next.planned_on;
            let missed = Review {
                status: "noshow".to_owned(),
                closed_on: Some(first_on),
                closed_reason: Some("Did not attend".to_owned()),
                ..next
            };
            reviews::replace(tx, missed)?;
            let again_on = days.next_on_or_after(first_on + Duration::days(14));
            let why = ["the review before was missed".to_owned()];
            let again = reviews::by_hand(stoma, "Missed review", "clinic", again_on, &why, late_morning(first_on))?;
            let again = Review {
                status: "noshow".to_owned(),
                closed_on: Some(again_on),
                closed_reason: Some("Did not attend".to_owned()),
                ..again
            };
            reviews::add(tx, &again)?;
            let open_on = days.next_on_or_after(again_on + Duration::days(7));
            let open = reviews::by_hand(stoma, "Missed review", "phone", open_on, &why, late_morning(again_on))?;
            reviews::add(tx, &open)
        }
        Ending::Goes | Ending::Died(_) | Ending::Moved(_) | Ending::Reversed(_) => Ok(()),
    }
}
