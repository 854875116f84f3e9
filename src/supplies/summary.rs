//! The summary of a list for GP, dispenser and patient, which is also the check page of a draft.
//!
//! A draft is checked anew each time it is shown, so that what is signed rests on the facts of today; a signed list is
//! shown with the findings that stood when it was signed.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;

use super::draft::{local, state_words};
use super::draft_page::{CheckView, finding_view, line_view, line_words, verdict_view};
use super::order::{self, Checked, KeptFinding, KeptVerdict, Whose};
use super::pages::{ChangeView, SignView, StopView, SummaryPage, changes, plain};
use super::rules::{RULE_VERSION, SetId, shipped_set};
use super::store::{self, LineRow, Prescription};
use crate::access::store::{self as access, StaffRow};
use crate::audit::{Event, view};
use crate::db::ids::{PrescriptionId, ServiceId};
use crate::db::{Conn, StoreError};
use crate::display;
use crate::follow_up::store::{self as follow_up, Review};
use crate::patients::banner::{avoid, banner};
use crate::patients::identifiers::Identifier;
use crate::patients::store::{self as patients, Patient};
use crate::skin::rules::bands;
use crate::skin::store::{self as skin, AssessmentRow};
use crate::stomas::store::{self as stomas, Stoma};
use crate::web::form_view::{ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, PathOf, Permission, Signed, State, page};

/// A prescription with all that its summary says.
pub struct Loaded {
    /// For whom.
    pub patient: Patient,
    /// Their numbers.
    pub identifiers: Vec<Identifier>,
    /// For which stoma.
    pub stoma: Stoma,
    /// The prescription; of a draft with the quantity set and the rules of today.
    pub held: Prescription,
    /// Its lines; of a draft as the rules see them today.
    pub lines: Vec<LineRow>,
    /// Findings; of a draft as of today.
    pub findings: Vec<KeptFinding>,
    /// Of a draft: what was made of it today.
    pub checked: Option<Checked>,
    /// Of a draft: items that are offered no more.
    pub withdrawn: Vec<String>,
    /// Last assessment of this stoma.
    pub last: Option<AssessmentRow>,
    /// The version before, with its lines.
    pub before: Option<(Prescription, Vec<LineRow>)>,
    /// Number of the version that superseded it.
    pub followed_by: Option<i32>,
    /// Who drew it up.
    pub drawn_up_by: StaffRow,
    /// Who signed.
    pub signed_by: Option<StaffRow>,
    /// The next review of this stoma.
    pub next_review: Option<NaiveDate>,
}

/// Loads a prescription; a draft is checked against `today`.
pub fn load(conn: &mut Conn, service: ServiceId, id: PrescriptionId, today: NaiveDate) -> Result<Loaded, StoreError> {
    let mut held = store::find(conn, service, id)?;
    let patient = patients::find(conn, service, held.patient_id)?;
    let stoma = stomas::find(conn, service, held.stoma_id)?;
    let all = store::of_patient(conn, service, held.patient_id)?;
    let last = skin::of_patient(conn, service, held.patient_id, false)?.into_iter().find(|a| a.stoma_id == stoma.id);
    let is_draft = held.status == "draft";
    let before = if is_draft {
        all.iter().find(|p| p.stoma_id == held.stoma_id && p.status == "signed")
    } else {
        all.iter().find(|p| Some(p.id) == held.supersedes_id)
    };
    let before = match before {
        Some(before) => Some((before.clone(), store::lines(conn, service, before.id)?)),
        None => None,
    };
    let mut lines = store::lines(conn, service, id)?;
    let mut findings: Vec<KeptFinding> = held.findings.read()?;
    let (mut checked, mut withdrawn) = (None, Vec::new());
    if is_draft {
        let ordered = order::ordered(&lines, &store::items(conn, service, true)?)?;
        withdrawn.extend(ordered.iter().filter(|line| !line.item.active).map(|line| line.item.name.clone()));
        let whose = Whose { patient: &patient, stoma: &stoma, last: last.as_ref(), today };
        held.quantity_set = access::service(conn, service)?.quantity_set;
        RULE_VERSION.clone_into(&mut held.rule_version);
        let made = order::check(whose, order::period_of(held.period_days)?, &held.quantity_set, &ordered)?;
        lines = order::rows((service, held.patient_id, id), &ordered, &made)?;
        findings.clone_from(&made.findings);
        checked = Some(made);
    }
    let reviews = follow_up::of_patient(conn, service, held.patient_id)?;
    let next_review = reviews.iter().filter(|r| r.is_open() && r.stoma_id == Some(stoma.id)).map(Review::due_on).min();
    let signed_by = held.signed_by.map(|by| access::staff_member(conn, service, by)).transpose()?;
    Ok(Loaded {
        identifiers: patients::identifiers_of(conn, service, held.patient_id)?,
        drawn_up_by: access::staff_member(conn, service, held.drawn_up_by)?,
        followed_by: all.iter().find(|p| p.supersedes_id == Some(id) && p.status != "draft").map(|p| p.number),
        patient,
        stoma,
        held,
        lines,
        findings,
        checked,
        withdrawn,
        last,
        before,
        signed_by,
        next_review,
    })
}

/// How a date is written: short on a clinical screen, long on what the patient reads.
pub type Written = fn(NaiveDate) -> String;

/// A staff member with their registration.
fn person(row: &StaffRow) -> String {
    match &row.registration {
        Some(registration) => format!("{} ({registration})", row.display_name),
        None => row.display_name.clone(),
    }
}

/// A text, or that there is none.
pub fn or_not_recorded(value: Option<&String>) -> String {
    value.map(|text| text.trim().to_owned()).filter(|text| !text.is_empty()).unwrap_or_else(|| "Not recorded".into())
}

/// "7 of 15, severe" by the service's band set.
fn score_words(score: i32, band_set: &str) -> String {
    let band = u8::try_from(score).ok().zip(bands::set(band_set)).map(|(score, set)| set.band(score).words());
    let band = band.map(|band| format!(", {band}")).unwrap_or_default();
    format!("{score} of 15{band}")
}

impl Loaded {
    /// Who and which stoma: label and value.
    pub fn facts(&self, written: Written, today: NaiveDate, band_set: &str) -> Vec<(String, String)> {
        let mut facts: Vec<(String, String)> = Vec::new();
        let mut fact = |label: &str, value: String| facts.push((label.to_owned(), value));
        let born = self.patient.born_on;
        fact("Name", self.patient.display_name());
        fact(
            "Born",
            born.map_or_else(
                || "Not known".into(),
                |born| match display::age(born, today) {
                    Some(age) => format!("{} ({age})", written(born)),
                    None => written(born),
                },
            ),
        );
        for id in &self.identifiers {
            fact(id.scheme().label(), id.display());
        }
        let postcode = self.patient.postcode.as_deref().map(display::postcode).unwrap_or_default();
        let address = [self.patient.address.clone().unwrap_or_default(), postcode];
        let address = address.iter().filter(|part| !part.is_empty()).cloned().collect::<Vec<_>>().join(", ");
        fact("Address", or_not_recorded(Some(&address)));
        fact("GP practice", or_not_recorded(self.patient.gp_practice.as_ref()));
        fact("Avoid", avoid(&self.patient).text);
        fact("Stoma", self.stoma.words());
        fact("Surgery", self.stoma.surgery_on.map_or_else(|| "Not known".into(), written));
        fact("Size", self.size_words());
        match &self.last {
            None => fact("Skin", "No assessment recorded".to_owned()),
            Some(last) => {
                fact("Skin", score_words(last.score, band_set));
                fact("Skin seen on", written(last.assessed_on));
            }
        }
        facts
    }

    /// "32 mm wide, 30 mm high, stands out 12 mm"
    pub fn size_words(&self) -> String {
        let Stoma { width_mm, height_mm, protrusion_mm, .. } = &self.stoma;
        let size = match (width_mm, height_mm) {
            (Some(width), Some(height)) if width == height => format!("{width} mm round"),
            (Some(width), Some(height)) => format!("{width} mm wide, {height} mm high"),
            (Some(width), None) => format!("{width} mm wide"),
            (None, Some(height)) => format!("{height} mm high"),
            (None, None) => return "Not recorded".to_owned(),
        };
        match protrusion_mm {
            Some(mm) if *mm > 0 => format!("{size}, stands out {mm} mm"),
            Some(0) => format!("{size}, flush with the skin"),
            Some(mm) => format!("{size}, {} mm below the skin", mm.abs()),
            None => size,
        }
    }

    /// "for 28 days"
    pub fn period_words(&self) -> String {
        format!("for {} days", self.held.period_days)
    }

    /// What there is to know of the state beside its word.
    pub fn state_sentence(&self, written: Written) -> String {
        let held = &self.held;
        let signed = held.signed_at.zip(self.signed_by.as_ref());
        let signed = signed.map(|(at, by)| format!("igned on {} by {}.", written(local(at)), by.display_name));
        let reason = held.stopped_reason.as_deref().map(|reason| reason.trim_end_matches('.'));
        let reason = reason.unwrap_or("no reason recorded");
        match (held.status.as_str(), signed) {
            ("draft", _) => "Nothing is supplied from it.".to_owned(),
            ("signed", Some(signed)) => format!("S{signed}"),
            ("superseded", Some(signed)) => {
                let by = self.followed_by.map(|number| format!("By version {number}. ")).unwrap_or_default();
                format!("{by}It was s{signed} Do not supply from it.")
            }
            ("stopped", Some(signed)) => format!("Reason: {reason}. It was s{signed} Do not supply from it."),
            ("stopped", None) => format!("Reason: {reason}. It was never signed."),
            _ => "Do not supply from it.".to_owned(),
        }
    }

    /// Who issued it, to whom it goes: label and value.
    pub fn issued(&self, written: Written) -> Vec<(String, String)> {
        let held = &self.held;
        let mut facts = vec![("Version".to_owned(), held.number.to_string())];
        let mut fact = |label: &str, value: String| facts.push((label.to_owned(), value));
        fact("Drawn up by", person(&self.drawn_up_by));
        fact("Drawn up on", written(local(held.drawn_up_at)));
        fact("Signed by", self.signed_by.as_ref().map_or_else(|| "Not signed".to_owned(), person));
        fact("Signed on", held.signed_at.map_or_else(|| "Not signed".to_owned(), |at| written(local(at))));
        if let Some(reason) = &held.override_reason {
            fact("Signed although", reason.clone());
        }
        let dispenser = held.dispenser.as_ref().or(self.patient.dispenser.as_ref());
        fact("Dispenser", or_not_recorded(dispenser));
        fact("Next review", self.next_review.map_or_else(|| "None planned".into(), written));
        fact("Copies to", "patient, GP practice, dispenser".to_owned());
        facts
    }

    /// What differs from the version before, and which that was.
    pub fn changes(&self, written: Written) -> (String, Vec<ChangeView>) {
        let Some((before, lines)) = &self.before else {
            return (
                "no version before".to_owned(),
                vec![plain("First list", "There is no list before this one for this stoma.")],
            );
        };
        let on = before.signed_at.map(|at| format!(" of {}", written(local(at)))).unwrap_or_default();
        (format!("against version {}{on}", before.number), changes((before, lines), (&self.held, &self.lines)))
    }

    /// Verdicts of the lines and findings, the gravest first.
    pub fn checks(&self) -> Result<Vec<CheckView>, StoreError> {
        let mut checks: Vec<CheckView> = self.findings.iter().map(finding_view).collect();
        for row in &self.lines {
            let verdict: KeptVerdict = row.verdict.read()?;
            checks.push(verdict_view(&verdict, &line_words(&[usize::try_from(row.position).unwrap_or(0)])));
        }
        // Stable: within a kind the order of rules and lines stays.
        checks.sort_by_key(|check| ["bad", "mind", "plain", "good"].iter().position(|kind| *kind == check.kind));
        Ok(checks)
    }
}

/// What a page that comes back says is wrong.
#[derive(Clone, Debug, Default)]
pub struct Mistake {
    /// Element id.
    pub id: &'static str,
    /// What is wrong.
    pub text: String,
    /// What was typed.
    pub typed: String,
}

/// Element id of the reason for signing all the same.
pub const OVERRIDE_FIELD: &str = "override_reason";
/// Element id of the reason for stopping.
pub const STOP_FIELD: &str = "reason";

/// Builds the page.
pub fn build(
    signed: &Signed,
    loaded: &Loaded,
    today: NaiveDate,
    mistake: Option<&Mistake>,
) -> Result<SummaryPage, AppError> {
    let held = &loaded.held;
    let short: Written = display::short_date;
    let (state_kind, state) = state_words(held);
    let set = SetId::from_code(&held.quantity_set).and_then(shipped_set);
    let set = set.map_or_else(|| "no quantity set".to_owned(), |set| set.title.clone());
    let (is_draft, is_signed) = (held.status == "draft", held.status == "signed");
    let field = |name: &'static str, label: &str| {
        let field = Field::new(name, label).width(Width::Full);
        match mistake.filter(|mistake| mistake.id == name) {
            Some(mistake) => field.value(&mistake.typed).error(Some(&mistake.text)),
            None => field,
        }
    };
    let may_sign = is_draft && signed.may(Permission::SignPrescriptions) && loaded.patient.ended_reason.is_none();
    let sign = loaded.checked.as_ref().filter(|_| may_sign).map(|checked| -> Result<SignView, AppError> {
        Ok(SignView {
            action: format!("/prescriptions/{}/sign", held.id),
            patient_id: held.patient_id.to_string(),
            version: held.version.to_string(),
            seal: checked.seal()?,
            reason: checked.refuses().then(|| {
                field(OVERRIDE_FIELD, "Why it is right all the same")
                    .hint("A check says that the order cannot be right. At least 10 characters; they are printed.")
            }),
            words: match &loaded.before {
                Some((before, _)) => {
                    format!("Your signature puts this list in force in place of version {}.", before.number)
                }
                None => "Your signature puts this list in force.".to_owned(),
            },
            patient: loaded.patient.display_name(),
        })
    });
    let may_stop = (is_draft && signed.may(Permission::DrawUpSupplies))
        || (is_signed && signed.may(Permission::SignPrescriptions));
    let stop = may_stop.then(|| {
        let (heading, label, button) = if is_draft {
            ("Throw the draft away", "Why it is not needed", "Throw the draft away")
        } else {
            ("Stop the list", "Why it is stopped", "Stop the list")
        };
        StopView {
            heading: heading.to_owned(),
            action: format!("/prescriptions/{}/stop", held.id),
            patient_id: held.patient_id.to_string(),
            version: held.version.to_string(),
            reason: field(STOP_FIELD, label),
            button: button.to_owned(),
            patient: loaded.patient.display_name(),
        }
    });
    let mut errors = ErrorSummary::none();
    if let Some(mistake) = mistake {
        errors.push(mistake.id, mistake.text.clone());
    }
    let heading = format!("Supplies summary, version {}", held.number);
    let title = if errors.is_empty() { heading.clone() } else { format!("Error: {heading}") };
    let (changes_since, changes) = loaded.changes(short);
    let edit = (is_draft || is_signed)
        && signed.may(Permission::DrawUpSupplies)
        && loaded.patient.ended_reason.is_none()
        && loaded.stoma.reversed_on.is_none();
    let all_href = format!("/patients/{}/supplies", loaded.patient.id);
    Ok(SummaryPage {
        shell: signed.shell(title, "/patients"),
        banner: banner(&loaded.patient, &loaded.identifiers, today),
        errors,
        heading,
        state_kind,
        state,
        standfirst: loaded.state_sentence(short),
        pdf_href: format!("/prescriptions/{}/summary.pdf", held.id),
        large_href: format!("/prescriptions/{}/summary.pdf?size=large", held.id),
        edit_href: edit.then(|| format!("{all_href}?stoma={}#draft", loaded.stoma.id)),
        routine_href: is_signed.then(|| format!("/prescriptions/{}/routine", held.id)),
        all_href,
        facts: loaded.facts(short, today, &signed.service.band_set),
        period: loaded.period_words(),
        lines: loaded.lines.iter().map(line_view).collect(),
        note: held.note.clone(),
        changes_since,
        changes,
        checks_note: format!("{set}; rules {}", held.rule_version),
        checks: loaded.checks()?,
        sign: sign.transpose()?,
        stop,
        issued: loaded.issued(short),
        footer: "A new or changed item is accepted from the stoma care service only. Earlier versions no longer hold."
            .to_owned(),
    })
}

/// Loads a prescription to be shown, and notes that it was.
pub async fn seen(state: &State, signed: &Signed, id: PrescriptionId, what: &'static str) -> Result<Loaded, AppError> {
    let (service, today) = (signed.service.id, state.clock.today());
    Ok(view(&state.db, &signed.actor, move |conn| {
        let loaded = load(conn, service, id, today)?;
        let event = Event::read(what).about(loaded.patient.id).with("prescription", id);
        let event = event.with("number", loaded.held.number).with("status", &loaded.held.status);
        Ok((loaded, event))
    })
    .await?)
}

/// `GET /prescriptions/{id}/summary`
pub async fn summary(state: web::Data<State>, signed: Signed, path: PathOf<PrescriptionId>) -> Answer {
    let loaded = seen(&state, &signed, path.into_inner(), "prescription.summary").await?;
    page(StatusCode::OK, &build(&signed, &loaded, state.clock.today(), None)?)
}
