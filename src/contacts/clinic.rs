//! The clinic form: opening it, marking a range, showing what is likely, checking what it finds, signing it.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;
use sha2::{Digest, Sha256};

use super::clinic_advice::advice;
use super::clinic_form::{ClinicForm, Wrong};
use super::clinic_map::cell_value;
use super::clinic_other::OtherVisit;
use super::clinic_page::{Checked, Context, build};
use super::clinic_words::{FLAG_ANSWERS, known};
use super::clinic_work::{Facts, Worked, checked, load, work};
use super::clinic_write::write;
use super::store as contacts;
use crate::audit::{Event, Outcome, append, view};
use crate::db::StoreError;
use crate::db::ids::{AssessmentId, ContactId, PatientId};
use crate::display;
use crate::drafts::{self, Draft, Kept, Place};
use crate::once;
use crate::patients::banner::banner;
use crate::skin::store::{self as skin, AssessmentRow, Inputs, StomaFound};
use crate::web::{Answer, AppError, PathOf, Posted, QueryOf, Signed, State, page, see_other};

/// How the form is opened.
#[derive(Deserialize)]
pub struct Opening {
    /// The assessment to amend.
    amend: Option<AssessmentId>,
}

/// `GET /patients/{id}/contacts/new`
pub async fn open(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    opening: QueryOf<Opening>,
) -> Answer {
    let id = path.into_inner();
    let service = signed.service.id;
    let (place, actor) = (place(id, opening.0.amend)?, signed.actor.clone());
    let at = place.clone();
    let (facts, kept) = view(&state.db, &signed.actor, move |conn| {
        let kept = drafts::kept(conn, &actor, &at)?;
        let event = Kept::noted(kept.as_ref(), Event::read("contact.new").about(id));
        Ok(((load(conn, service, id)?, kept), event))
    })
    .await?;
    let today = state.clock.today();
    let mut form = ClinicForm {
        patient: id.to_string(),
        once: ContactId::new().to_string(),
        assessment: AssessmentId::new().to_string(),
        on: display::short_date(today),
        ..ClinicForm::default()
    };
    form.base = facts.base();
    let stoma = facts.stoma("");
    // How and which review are no clinical answers: they are filled from the plan.
    if let Some(review) = facts.review(stoma, today) {
        form.mode.clone_from(&review.mode);
        form.review = review.id.to_string();
    } else {
        form.review = "no".to_owned();
    }
    if let Some(amend) = opening.0.amend {
        let held = facts.assessments.iter().find(|a| a.id == amend).ok_or(AppError::NotFound)?;
        fill_from(&mut form, held)?;
        form.cells = facts.cells(held.id).iter().copied().map(cell_value).collect();
    }
    if facts.patient.ended_reason.is_some() || facts.stomas.is_empty() {
        return Err(AppError::Conflict("Nothing is under care in this record: there is no stoma to look at.".into()));
    }
    if let Some(kept) = &kept {
        form = kept.form()?;
        form.patient = id.to_string();
    }
    let shown = Shown { draft: Draft::at(&place, kept.as_ref()), ..Shown::default() };
    show(&state, &signed, &facts, &form, &Wrong::new(), shown, StatusCode::OK)
}

/// Where the form lives, for its draft.
fn place(id: PatientId, amends: Option<AssessmentId>) -> Result<Place, AppError> {
    let query = amends.map(|amends| format!("?amend={amends}")).unwrap_or_default();
    format!("/patients/{id}/contacts/new{query}").parse().map_err(|_| AppError::NotFound)
}

/// The form as it opens on an assessment to amend.
fn fill_from(form: &mut ClinicForm, held: &AssessmentRow) -> Result<(), StoreError> {
    let Inputs { judged, map } = held.inputs.read()?;
    let symptoms: skin::Symptoms = held.symptoms.read()?;
    let found: StomaFound = held.findings.read()?;
    let text = |n: Option<String>| n.unwrap_or_default();
    form.amends = held.id.to_string();
    form.stoma = held.stoma_id.to_string();
    form.on = display::short_date(held.assessed_on);
    form.leaks = text(symptoms.leaks_of_last_10.map(|n| n.to_string()));
    form.wear = text(symptoms.wear_days.map(|n| n.to_string()));
    form.pain = text(symptoms.skin_pain.map(|n| n.to_string()));
    form.output = text(symptoms.output_ml_24h.map(|n| n.to_string()));
    form.leak_hour = text(symptoms.leak_hour.map(|n| n.to_string()));
    form.pouch_off = text(symptoms.pouch_off_per_day.map(|n| n.to_string()));
    form.itch = text(symptoms.itch.map(|n| n.to_string()));
    form.burning = text(symptoms.burning.map(|n| n.to_string()));
    form.belly = text(symptoms.abdominal_pain.map(|n| n.to_string()));
    form.no_output = text(symptoms.no_output_hours.map(|n| n.to_string()));
    form.also = symptoms.also;
    form.width = text(found.width_mm.map(|n| n.to_string()));
    form.height = text(found.height_mm.map(|n| n.to_string()));
    form.protrusion = text(found.protrusion_mm.map(|n| n.to_string()));
    form.colour = text(found.colour);
    form.shape = text(found.shape);
    form.gap = text(found.gap_mm.map(|n| n.to_string()));
    if let Some(plate) = found.plate {
        form.plate = plate.diameter_mm.to_string();
        form.plate_left = plate.to_left_mm.to_string();
        form.plate_head = plate.to_head_mm.to_string();
    }
    form.consistency = text(found.consistency);
    form.parted_from = text(found.parted_hours.first().map(ToString::to_string));
    form.parted_to = text(found.parted_hours.last().map(ToString::to_string));
    form.prolapse = text(found.prolapse_mm.map(|n| n.to_string()));
    form.bulge = text(found.bulge_mm.map(|n| n.to_string()));
    form.signs = found.signs;
    form.skin_tone = text(map.skin_tone);
    form.area_reason = text(map.overruled.first().map(|o| o.reason.clone()));
    form.stoma_findings = found.findings;
    form.stoma_same = "no".to_owned();
    form.skin_clear = if held.score == 0 { "yes" } else { "no" }.to_owned();
    if held.score > 0 {
        form.discolouration_area = judged.discolouration.area_points.to_string();
        form.discolouration_severity = judged.discolouration.severity.to_string();
        form.erosion_area = judged.erosion.area_points.to_string();
        form.erosion_severity = judged.erosion.severity.to_string();
        form.overgrowth_area = judged.overgrowth.area_points.to_string();
        form.overgrowth_severity = judged.overgrowth.severity.to_string();
    }
    form.cause = text(held.cause.clone());
    form.plan = text(held.plan.clone());
    Ok(())
}

/// What a page shows besides the form.
#[derive(Default)]
struct Shown {
    checked: Option<Checked>,
    other: Option<OtherVisit>,
    fingerprint: String,
    draft: Draft,
}

impl Shown {
    /// A form that came back, with the place where its draft is kept.
    fn again(form: &ClinicForm) -> Result<Self, AppError> {
        let id = form.patient.parse().map_err(|_| AppError::NotFound)?;
        Ok(Self { draft: Draft::at(&place(id, form.amends.parse().ok())?, None), ..Self::default() })
    }
}

fn show(
    state: &State,
    signed: &Signed,
    facts: &Facts,
    form: &ClinicForm,
    wrong: &Wrong,
    shown: Shown,
    status: StatusCode,
) -> Answer {
    let today = state.clock.today();
    let stoma = facts.stoma(&form.stoma);
    let before = facts.before(stoma, &form.amends);
    let last = before.first().copied();
    let last_found: Option<StomaFound> = last.map(|a| a.findings.read()).transpose()?;
    let review = facts.review(stoma, today);
    let measures = form.measures(&last_found);
    let kind = stoma.map_or("", |s| s.kind.as_str());
    let context = Context {
        stomas: &facts.stomas,
        review,
        following: facts.open(stoma).into_iter().find(|r| review.is_none_or(|this| this.id != r.id)),
        last,
        last_found: last_found.as_ref(),
        last_cells: last.map_or(&[], |a| facts.cells(a.id)),
        measures: &measures,
        today,
        letter: stoma.map(crate::stomas::store::Stoma::letter).unwrap_or_default(),
    };
    let title = if wrong.is_empty() { "Record a contact" } else { "Error: Record a contact" };
    let banner = banner(&facts.patient, &facts.identifiers, today);
    let said = advice(form, kind, &measures)?;
    let shell = signed.shell(title, "/patients");
    let mut built = build(shell, banner, form, wrong, &context, (shown.checked, said, shown.other), &shown.fingerprint);
    built.draft = shown.draft;
    page(status, &built)
}

/// A fingerprint of what the nurse was shown, so that signing signs just that.
fn fingerprint(form: &ClinicForm) -> String {
    let bare = ClinicForm {
        checked: String::new(),
        act: String::new(),
        base: String::new(),
        // The answer to what was shown is given after it was shown.
        red_flag: String::new(),
        red_flag_reason: String::new(),
        ..form.clone()
    };
    let text = serde_json::to_string(&bare).unwrap_or_default();
    hex::encode(&Sha256::digest(text.as_bytes())[..16])
}

/// `POST /patients/{id}/contacts/new`
pub async fn sign(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PatientId>,
    form: Posted<ClinicForm>,
) -> Answer {
    let id = path.into_inner();
    let mut form = form.0;
    if form.patient != id.to_string() {
        return Err(AppError::Conflict("This form belongs to another patient's page. Nothing was saved.".into()));
    }
    let ids = form.once.parse::<ContactId>().ok().zip(form.assessment.parse::<AssessmentId>().ok());
    let Some((contact_id, assessment_id)) = ids else {
        return Err(AppError::Unreadable("The form did not arrive whole. Open it again and repeat it.".into()));
    };
    let service = signed.service.id;
    let sending = once::of(&form.once)?;
    let (facts, sent_before) = view(&state.db, &signed.actor, move |conn| {
        let sent_before =
            contacts::is_there(conn, service, contact_id)? || skin::find(conn, service, assessment_id).is_ok();
        Ok(((load(conn, service, id)?, sent_before), Event::read("contact.new").about(id)))
    })
    .await?;
    if sent_before {
        return Ok(see_other(format!("/patients/{id}"))); // the same form again: it is saved already
    }
    if let Some(answer) = besides(&state, &signed, &facts, &mut form)? {
        return Ok(answer);
    }
    let today = state.clock.today();
    let stoma = facts.stoma(&form.stoma);
    let before = facts.before(stoma, &form.amends);
    let last: Option<StomaFound> = before.first().map(|a| a.findings.read()).transpose()?;
    let read = match stoma {
        Some(stoma) => form.read(&last.filter(|_| !form.is_amendment()), stoma.surgery_on, today),
        None => Err(vec![("stoma", "Choose the stoma".to_owned())]),
    };
    let refused = StatusCode::UNPROCESSABLE_ENTITY;
    let recorded = match read {
        Ok(recorded) => recorded,
        Err(wrong) => return show(&state, &signed, &facts, &form, &wrong, Shown::again(&form)?, refused),
    };
    let planned = facts.open(stoma).iter().any(|r| r.id.to_string() == form.review);
    if !planned && !matches!(form.review.as_str(), "no" | "") {
        let wrong = vec![("review", "The planned review was closed meanwhile. Choose again".to_owned())];
        return show(&state, &signed, &facts, &form, &wrong, Shown::again(&form)?, StatusCode::CONFLICT);
    }
    let worked = work(&facts, &form, recorded, &signed, today)?;
    let print = fingerprint(&form);
    let plain = worked.recorded.score.score == 0 && worked.urgency.reasons.is_empty() && worked.proposal.keeps_planned;
    let unanswered = red_flags_unanswered(&form, &worked);
    if (form.checked != print && !plain) || !unanswered.is_empty() {
        let seen = form.checked == print;
        let (wrong, status) = if seen { (unanswered, refused) } else { (Wrong::new(), StatusCode::OK) };
        let shown = Shown { checked: Some(checked(&worked)?), fingerprint: print, ..Shown::again(&form)? };
        return show(&state, &signed, &facts, &form, &wrong, shown, status);
    }
    let place = place(id, form.amends.parse().ok())?;
    let name = facts.patient.display_name();
    let band_set = signed.service.band_set.clone();
    state
        .db
        .write(&signed.actor, move |tx| {
            drafts::drop_at(tx, &place)?;
            if once::claim(tx, sending, &format!("/patients/{id}"))?.is_some() {
                append(tx, Event::create("skin.assessment").outcome(Outcome::Refused).with("why", "sent twice"))?;
                return Ok(());
            }
            write(tx, &form, worked, (contact_id, assessment_id), &band_set, &name)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(format!("/patients/{id}")))
}

/// What is asked of the form besides signing it, and what came in between: another visit signed since it was opened.
fn besides(
    state: &State,
    signed: &Signed,
    facts: &Facts,
    form: &mut ClinicForm,
) -> Result<Option<actix_web::HttpResponse>, AppError> {
    match form.act.as_str() {
        "mark" => {
            let marked = form.mark_range();
            let (wrong, status) = match marked {
                Ok(()) => (Wrong::new(), StatusCode::OK),
                Err(wrong) => (wrong, StatusCode::UNPROCESSABLE_ENTITY),
            };
            return show(state, signed, facts, form, &wrong, Shown::again(form)?, status).map(Some);
        }
        "causes" => {
            return show(state, signed, facts, form, &Wrong::new(), Shown::again(form)?, StatusCode::OK).map(Some);
        }
        _ => {}
    }
    let newer = if form.is_amendment() {
        facts.assessments.iter().find(|a| a.amends_id.is_some_and(|id| id.to_string() == form.amends))
    } else if form.base == facts.base() {
        None
    } else {
        facts.assessments.iter().max_by_key(|a| (a.signed_at, a.id))
    };
    let Some(newer) = newer else { return Ok(None) };
    let other = OtherVisit::of(newer, facts, form)?;
    // What is signed next rests on what is shown now.
    form.base = facts.base();
    if form.is_amendment() {
        form.amends = newer.id.to_string();
    }
    let shown = Shown { other: Some(other), ..Shown::again(form)? };
    show(state, signed, facts, form, &Wrong::new(), shown, StatusCode::CONFLICT).map(Some)
}

/// What is missing of the answer to red flags; nothing where none was raised.
fn red_flags_unanswered(form: &ClinicForm, worked: &Worked) -> Wrong {
    let mut wrong = Wrong::new();
    if worked.urgency.red_flags.is_empty() {
        return wrong;
    }
    if !known(&FLAG_ANSWERS, &form.red_flag) {
        wrong.push(("red_flag", "Say what happens with the red flag".to_owned()));
    }
    let reason = form.red_flag_reason.trim().chars().count();
    if form.red_flag == "overruled" && reason < 5 {
        wrong.push(("red_flag_reason", "Write why the red flag is not acted on".to_owned()));
    }
    if reason > 500 {
        wrong.push(("red_flag_reason", "Shorten this to 500 characters".to_owned()));
    }
    wrong
}
