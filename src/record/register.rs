//! Registering a patient with a first stoma. Likely duplicates are shown before anything is written.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;

use super::pages::{LikelyRecord, PatientPage, SideBySide};
use crate::access::store::{Service, service};
use crate::audit::{Event, Outcome, append, view};
use crate::db::ids::ServiceId;
use crate::db::{Conn, Stamp, StoreError};
use crate::display;
use crate::drafts::{self, Draft, Kept, Place};
use crate::follow_up::offered;
use crate::once;
use crate::patients::forms::{GENDERS, PatientForm, Wrong};
use crate::patients::identifiers::Identifier;
use crate::patients::likely::{self, Likely};
use crate::patients::store::{self as patients, Patient};
use crate::stomas::forms::StomaForm;
use crate::stomas::store::{self as stomas, Stoma};
use crate::web::form_view::ErrorSummary;
use crate::web::{Answer, AppError, PostedBoth, Signed, State, page, see_other};
use crate::week::shown;

/// Stands in a new stoma's form for the protocol that the service follows for its kind, which is not known yet.
pub const USUAL: &str = "usual";

/// What a stoma's form offers: the service, and protocols as id and words.
#[derive(Clone, Debug)]
pub struct Choices {
    /// The service.
    pub service: Service,
    /// Protocols to choose from.
    pub protocols: Vec<(String, String)>,
}

impl Choices {
    /// Those of a correction.
    pub fn load(conn: &mut Conn, id: ServiceId) -> Result<Self, StoreError> {
        let protocols = offered::protocols(conn, id)?;
        Ok(Self {
            service: service(conn, id)?,
            protocols: protocols.iter().map(|p| (p.id.clone(), p.words())).collect(),
        })
    }

    /// Those of a new stoma: the service's own choice stands first.
    pub fn for_new(conn: &mut Conn, id: ServiceId) -> Result<Self, StoreError> {
        let mut choices = Self::load(conn, id)?;
        choices.protocols.insert(0, (USUAL.to_owned(), "As the service follows for this kind of stoma".to_owned()));
        Ok(choices)
    }

    /// Puts the service's own choice in the place of [`USUAL`].
    pub fn settle(&self, stoma: &mut Stoma) {
        if stoma.protocol_id == USUAL {
            offered::usual(&self.service, &stoma.kind).clone_into(&mut stoma.protocol_id);
        }
    }
}

/// Where the form lives, for its draft.
fn place() -> Result<Place, AppError> {
    "/patients/new".parse().map_err(|_| AppError::NotFound)
}

struct Shown<'a> {
    patient: &'a PatientForm,
    stoma: &'a StomaForm,
    wrong: Wrong,
    stoma_wrong: Wrong,
    protocols: &'a [(String, String)],
    today: NaiveDate,
    beside: SideBySide,
}

fn build(signed: &Signed, shown: Shown<'_>) -> PatientPage {
    let f = shown.patient.fields(&shown.wrong);
    let s = shown.stoma.fields(&shown.stoma_wrong, shown.protocols, shown.today);
    let mut errors = f.errors();
    errors.items.extend(s.errors().items);
    if errors.is_empty() && !shown.beside.is_empty() {
        errors = ErrorSummary::none();
        errors.push("not_a_duplicate", "This person may be registered already. Look at the records below first");
    }
    let likely = shown.beside;
    let title = if errors.is_empty() { "Register a patient" } else { "Error: Register a patient" };
    PatientPage {
        shell: signed.shell(title, "/patients"),
        banner: None,
        errors,
        heading: "Register a patient".to_owned(),
        standfirst: "Who they are, and their stoma. Reviews are planned from the dates as soon as you save.".to_owned(),
        action: "/patients/new".to_owned(),
        patient: f,
        stoma: Some(s),
        button: if likely.is_empty() { "Register" } else { "Register all the same" }.to_owned(),
        likely,
        button_name: String::new(),
        hidden: vec![("once".to_owned(), shown.patient.once.clone())],
        differences: Vec::new(),
        draft: place().map(|place| Draft::at(&place, None)).unwrap_or_default(),
    }
}

/// How many records are put beside what was typed; more cannot be compared at a glance.
const MOST_BESIDE: usize = 4;

fn side_by_side(typed: &Beside<'_>, likely: &[Likely], today: NaiveDate) -> SideBySide {
    let of = |l: &Likely| LikelyRecord {
        href: format!("/patients/{}", l.patient.id),
        name: l.patient.display_name(),
        reason: l.reason.to_string(),
        facts: Beside { patient: &l.patient, identifiers: &l.identifiers }.facts(today),
    };
    SideBySide {
        typed: typed.facts(today),
        labels: FACTS.to_vec(),
        records: likely.iter().take(MOST_BESIDE).map(of).collect(),
        more: likely.len().saturating_sub(MOST_BESIDE),
    }
}

/// The lines in which two records are compared.
const FACTS: [&str; 8] = ["Name", "Born", "Gender", "Numbers", "Address", "Phone", "GP practice", "Record"];

struct Beside<'a> {
    patient: &'a Patient,
    identifiers: &'a [Identifier],
}

impl Beside<'_> {
    /// One text for each of [`FACTS`]; words where nothing is known.
    fn facts(&self, today: NaiveDate) -> Vec<String> {
        let p = self.patient;
        let known = |text: &Option<String>| text.clone().unwrap_or_else(|| "Not recorded".to_owned());
        let numbers: Vec<String> =
            self.identifiers.iter().map(|i| format!("{} {}", i.scheme().label(), i.display())).collect();
        let gender = GENDERS.iter().find(|(code, _)| *code == p.gender).map_or("Not known", |(_, word)| word);
        let address: Vec<&str> = [&p.address, &p.postcode].into_iter().flatten().map(String::as_str).collect();
        let record = match (p.version, p.ended_on) {
            (0, _) => "New, not saved".to_owned(),
            (_, Some(on)) => format!("Ended {}", display::short_date(on)),
            _ => format!(
                "Registered {}",
                display::short_date(p.created_at.at().with_timezone(&chrono::Local).date_naive())
            ),
        };
        vec![
            p.display_name(),
            format!("{} ({})", shown::date_or(p.born_on, "Not known"), shown::age(p.born_on, today)),
            gender.to_owned(),
            if numbers.is_empty() { "No number recorded".to_owned() } else { numbers.join(", ") },
            if address.is_empty() { "Not recorded".to_owned() } else { address.join(", ") },
            known(&p.phone),
            known(&p.gp_practice),
            record,
        ]
    }
}

/// `GET /patients/new`
pub async fn form(state: web::Data<State>, signed: Signed) -> Answer {
    let (service, place) = (signed.service.id, place()?);
    let (actor, at) = (signed.actor.clone(), place.clone());
    let (choices, kept) = view(&state.db, &signed.actor, move |conn| {
        let kept = drafts::kept(conn, &actor, &at)?;
        let event = Kept::noted(kept.as_ref(), Event::read("patient.new"));
        Ok(((Choices::for_new(conn, service)?, kept), event))
    })
    .await?;
    let (patient, stoma) = match &kept {
        Some(kept) => (kept.form()?, kept.form()?),
        None => (
            PatientForm { once: once::fresh(), ..PatientForm::default() },
            StomaForm { protocol: USUAL.to_owned(), ..StomaForm::default() },
        ),
    };
    let shown = Shown {
        patient: &patient,
        stoma: &stoma,
        wrong: Wrong::new(),
        stoma_wrong: Wrong::new(),
        protocols: &choices.protocols,
        today: state.clock.today(),
        beside: SideBySide::default(),
    };
    let mut shown = build(&signed, shown);
    shown.draft = Draft::at(&place, kept.as_ref());
    page(StatusCode::OK, &shown)
}

/// `POST /patients/new`
pub async fn register(state: web::Data<State>, signed: Signed, form: PostedBoth<PatientForm, StomaForm>) -> Answer {
    let PostedBoth(form, stoma_form) = form;
    let today = state.clock.today();
    let now = Stamp::new(state.clock.now());
    let service = signed.service.id;
    let read = form.read(today, state.refuse_test_numbers && !signed.service.demo);
    let mut patient = patients::new_patient(service, "", "", now);
    let mut stoma = stomas::new_stoma(service, patient.id, "", "", today, now);
    let born_on = read.as_ref().ok().and_then(|facts| facts.born_on);
    let choices = state.db.read(move |conn| Choices::for_new(conn, service)).await?;
    let protocols = &choices.protocols;
    let stoma_wrong = stoma_form.put_on(&mut stoma, born_on, today, protocols).err().unwrap_or_default();
    let facts = match read {
        Ok(facts) if stoma_wrong.is_empty() => facts,
        other => {
            let wrong = other.err().unwrap_or_default();
            let beside = SideBySide::default();
            let shown = Shown { patient: &form, stoma: &stoma_form, wrong, stoma_wrong, protocols, today, beside };
            return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, shown));
        }
    };
    // The same form again is no duplicate: it answers as it did the first time.
    let sending = once::of(&form.once)?;
    if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
        return Ok(see_other(answered));
    }
    form.put_on(&mut patient, &facts);
    let (family, given, numbers) = (patient.family_name.clone(), patient.given_name.clone(), facts.identifiers.clone());
    let likely = view(&state.db, &signed.actor, move |conn| {
        let likely = likely::duplicates(conn, service, &family, &given, born_on, &numbers)?;
        let event = Event::read("patient.duplicates").about_all(likely.iter().map(|l| l.patient.id));
        Ok((likely, event))
    })
    .await?;
    let same_number = likely.iter().any(|l| l.identifiers.iter().any(|i| facts.identifiers.contains(i)));
    if same_number || (!likely.is_empty() && form.not_a_duplicate != "yes") {
        // What looks like a duplicate may be the same form, written while this one was looked at.
        if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
            return Ok(see_other(answered));
        }
        let wrong = if same_number {
            vec![(
                "nhs",
                "Another record of your service has this number. Open it below, or correct the number".to_owned(),
            )]
        } else {
            Wrong::new()
        };
        let typed = Beside { patient: &patient, identifiers: &facts.identifiers };
        let beside = side_by_side(&typed, &likely, today);
        let shown = Shown { patient: &form, stoma: &stoma_form, wrong, stoma_wrong, protocols, today, beside };
        return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, shown));
    }
    patient.version = 1;
    stoma.version = 1;
    choices.settle(&mut stoma);
    let id = patient.id;
    let name = patient.display_name();
    let place = place()?;
    let to = state
        .db
        .write(&signed.actor, move |tx| {
            let to = format!("/patients/{id}");
            if let Some(answered) = once::claim(tx, sending, &to)? {
                append(tx, Event::create("patient.record").outcome(Outcome::Refused).with("why", "sent twice"))?;
                return Ok(answered);
            }
            drafts::drop_at(tx, &place)?;
            patients::add(tx, patient, &facts.identifiers)?;
            stomas::add(tx, &stoma)?;
            crate::access::store::say(tx, &format!("{name} is registered; reviews are planned."))?;
            append(tx, Event::create("patient.record").about(id))?;
            Ok::<_, StoreError>(to)
        })
        .await?;
    Ok(see_other(to))
}
