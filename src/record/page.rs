//! The record page: who it is, how soon they need seeing and why, stomas, skin, supplies, reviews, what happened.

use std::collections::BTreeMap;

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;

use super::pages::{
    DomainView, EntryView, LineView, NoteView, ReasonView, RecordPage, ReviewView, SkinView, StomaView,
};
use crate::access::store as people;
use crate::audit::{Event, view};
use crate::contacts::store::{self as contacts, Contact};
use crate::db::ids::{AssessmentId, PatientId};
use crate::db::{Conn, StoreError};
use crate::display;
use crate::follow_up::store::{self as reviews, Review};
use crate::follow_up::world::World;
use crate::patients::banner::banner;
use crate::patients::identifiers::Identifier;
use crate::patients::parts::parts;
use crate::patients::store::{self as patients, Patient};
use crate::skin::map_view;
use crate::skin::rules::{Domain, MapCell, bands, causes, wording};
use crate::skin::store::{self as skin, AssessmentRow, Judged, StomaFound, Symptoms};
use crate::stomas::store::{self as stomas, Stoma};
use crate::supplies::rules::{Use, use_in_words};
use crate::supplies::store::{self as supplies, LineRow, Prescription};
use crate::urgency::Known;
use crate::web::views::Link;
use crate::web::{Answer, PathOf, Permission, Signed, State, page};
use crate::week::handlers::urgency_of;
use crate::week::shown;
use crate::week::store::{self as week, WeekRow};

struct Facts {
    patient: Patient,
    identifiers: Vec<Identifier>,
    stomas: Vec<Stoma>,
    reviews: Vec<Review>,
    contacts: Vec<Contact>,
    assessments: Vec<AssessmentRow>,
    maps: BTreeMap<AssessmentId, Vec<MapCell>>,
    in_force: Option<(Prescription, Vec<LineRow>)>,
    row: Option<WeekRow>,
    world: World,
    staff: Vec<(crate::db::ids::StaffId, String)>,
}

fn load(
    conn: &mut Conn,
    service: crate::db::ids::ServiceId,
    id: PatientId,
    today: NaiveDate,
) -> Result<Facts, StoreError> {
    let prescriptions = supplies::of_patient(conn, service, id)?;
    let in_force = prescriptions.into_iter().find(|p| p.status == "signed");
    let in_force = match in_force {
        Some(p) => {
            let lines = supplies::lines(conn, service, p.id)?;
            Some((p, lines))
        }
        None => None,
    };
    Ok(Facts {
        patient: patients::find(conn, service, id)?,
        identifiers: patients::identifiers_of(conn, service, id)?,
        stomas: stomas::of_patient(conn, service, id)?,
        reviews: reviews::of_patient(conn, service, id)?,
        contacts: contacts::of_patient(conn, service, id)?,
        assessments: skin::of_patient(conn, service, id, false)?,
        maps: skin::maps_of(conn, service, id)?,
        in_force,
        row: week::kept(conn, service, id)?,
        world: World::load(conn, service, today)?,
        staff: people::everybody(conn, service)?.into_iter().map(|s| (s.id, s.display_name)).collect(),
    })
}

/// `GET /patients/{id}`
pub async fn record(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>) -> Answer {
    let id = path.into_inner();
    let service = signed.service.id;
    let today = state.clock.today();
    let facts = view(&state.db, &signed.actor, move |conn| {
        Ok((load(conn, service, id, today)?, Event::read("patient.record").about(id)))
    })
    .await?;
    page(StatusCode::OK, &build(&signed, &facts, today)?)
}

fn build(signed: &Signed, facts: &Facts, today: NaiveDate) -> Result<RecordPage, StoreError> {
    let id = facts.patient.id;
    let clinical = signed.may(Permission::SeeClinical);
    let decision = facts.row.as_ref().map(|row| urgency_of(row, &facts.world.days, today)).transpose()?;
    let main = facts.stomas.first();
    let open = facts.patient.ended_reason.is_none();
    let waiting = open && facts.row.as_ref().is_some_and(|r| r.due_on.is_none());
    let words: Vec<String> = facts.stomas.iter().map(super::super::stomas::store::Stoma::words).collect();
    let words = if words.is_empty() { "No stoma recorded".to_owned() } else { words.join("; ") };
    let standfirst = match (&facts.row, facts.patient.ended_on) {
        (_, Some(on)) => format!("The record ended on {}. Nothing is planned.", display::short_date(on)),
        (Some(row), _) => match (row.due_on, &row.review_title) {
            (Some(due), Some(title)) => {
                let state = if row.review_status.as_deref() == Some("booked") { "booked for" } else { "due" };
                format!("Next: {title}, {state} {}.", display::weekday_date(due))
            }
            _ => "No review is planned.".to_owned(),
        },
        _ => "Nothing is under care.".to_owned(),
    };
    let may = |permission| open && signed.may(permission);
    let mut acts = Vec::new();
    let mut act = |allowed: bool, part: &str, label: &str| {
        if allowed {
            acts.push(Link { href: format!("/patients/{id}/{part}"), label: label.to_owned(), current: false });
        }
    };
    act(signed.may(Permission::EditPatients), "edit", "Correct details");
    act(may(Permission::EditStomas), "stomas/new", "Record another stoma");
    act(signed.may(Permission::EditStomas), "end", if open { "End the record" } else { "Open the record again" });
    let name_of = |staff| facts.staff.iter().find(|(s, _)| *s == staff).map_or("unknown", |(_, name)| name.as_str());
    let skin = if clinical { skin_view(facts)? } else { None };
    let in_force = facts.in_force.as_ref().filter(|_| clinical);
    let known: Option<Known> = facts.row.as_ref().filter(|_| clinical).map(|row| row.signals.read()).transpose()?;
    let marked = known.map_or_else(Vec::new, |known| known.marked);
    Ok(RecordPage {
        shell: signed.shell(facts.patient.display_name(), "/patients"),
        banner: banner(&facts.patient, &facts.identifiers, today),
        roundel: shown::roundel(main.map(|s| s.kind.as_str()), &words, waiting, &marked),
        heading: words.clone(),
        standfirst,
        band: shown::band(decision.as_ref().map_or(crate::urgency::rules::Band::AsPlanned, |d| d.band)),
        reasons: decision
            .iter()
            .filter(|_| clinical)
            .flat_map(|d| &d.reasons)
            .map(|r| ReasonView {
                text: r.text.clone(),
                standing: r.source.standing.words().to_owned(),
                source: r.source.source.to_string(),
            })
            .collect(),
        advice: decision.iter().filter(|_| clinical).flat_map(|d| d.advice.clone()).collect(),
        contact_href: (may(Permission::AssessSkin) && main.is_some()).then(|| format!("/patients/{id}/contacts/new")),
        acts,
        parts: parts(signed, id, ""),
        stomas: facts.stomas.iter().map(|s| stoma_view(s, signed.may(Permission::EditStomas), &facts.world)).collect(),
        clinical,
        skin_href: format!("/patients/{id}/skin"),
        skin,
        supplies_href: signed.may(Permission::DrawUpSupplies).then(|| format!("/patients/{id}/supplies")),
        summary_href: in_force.map(|(p, _)| format!("/prescriptions/{}/summary", p.id)),
        lines: in_force.iter().flat_map(|(_, lines)| lines.iter().map(line_view)).collect(),
        follow_up_href: format!("/patients/{id}/follow-up"),
        reviews: facts
            .reviews
            .iter()
            .filter(|r| r.status != "cancelled" || !r.closed_by_plan)
            .map(|r| review_view(r, clinical))
            .collect(),
        timeline: if clinical { timeline(facts, name_of) } else { Vec::new() },
        notes: facts
            .patient
            .note
            .iter()
            .filter(|_| clinical)
            .map(|text| NoteView { text: text.clone(), by: String::new() })
            .collect(),
        access_href: signed.may(Permission::ReadAccess).then(|| format!("/patients/{id}/access")),
    })
}

fn capital(code: &str) -> String {
    let words = code.replace('-', " ");
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

fn stoma_view(stoma: &Stoma, may_edit: bool, world: &World) -> StomaView {
    let size = match (stoma.width_mm, stoma.height_mm) {
        (Some(w), Some(h)) if w == h => format!("{w} mm round"),
        (Some(w), Some(h)) => format!("{w} mm wide, {h} mm high"),
        (Some(w), None) => format!("{w} mm wide"),
        (None, Some(h)) => format!("{h} mm high"),
        (None, None) => "Not measured".to_owned(),
    };
    let mut facts = vec![
        (
            "Surgery".to_owned(),
            format!("{} ({})", shown::date_or(stoma.surgery_on, "Date not known"), capital(&stoma.surgery)),
        ),
        ("Since".to_owned(), shown::since_surgery(stoma.surgery_on, world.today)),
        ("Discharge".to_owned(), shown::date_or(stoma.discharge_on, "Date not known")),
        ("Size".to_owned(), size),
        ("Protrusion".to_owned(), stoma.protrusion_mm.map_or_else(|| "Not measured".to_owned(), |p| format!("{p} mm"))),
        ("Place".to_owned(), stoma.place.clone().unwrap_or_else(|| "Not recorded".to_owned())),
        (
            "Protocol".to_owned(),
            world.protocol(&stoma.protocol_id).map_or_else(|_| stoma.protocol_id.clone(), |p| p.title.clone()),
        ),
    ];
    if let Some(on) = stoma.reversal_on {
        facts.push(("Planned reversal".to_owned(), display::short_date(on)));
    }
    if let Some(on) = stoma.reversed_on {
        let what = if stoma.refashioned_as.is_some() { "Refashioned" } else { "Reversed" };
        facts.push((what.to_owned(), display::short_date(on)));
    }
    StomaView {
        title: stoma.words(),
        href: may_edit.then(|| format!("/patients/{}/stomas/{}", stoma.patient_id, stoma.id)),
        facts,
    }
}

fn skin_view(facts: &Facts) -> Result<Option<SkinView>, StoreError> {
    let Some(last) = facts.assessments.first() else { return Ok(None) };
    let before = facts.assessments.iter().skip(1).find(|a| a.stoma_id == last.stoma_id);
    let judged: Judged = last.inputs.read()?;
    let symptoms: Symptoms = last.symptoms.read()?;
    let found: StomaFound = last.findings.read()?;
    let domains = [
        (Domain::Discolouration, judged.discolouration, last.discolouration),
        (Domain::Erosion, judged.erosion, last.erosion),
        (Domain::Overgrowth, judged.overgrowth, last.overgrowth),
    ]
    .into_iter()
    .map(|(domain, of, points)| {
        let words = wording::domain_words(domain);
        DomainView {
            name: words.title.to_owned(),
            area: wording::area_words(of.area_points).unwrap_or("").to_owned(),
            severity: words.severity.get(usize::from(of.severity)).copied().unwrap_or("").to_owned(),
            points: points.to_string(),
        }
    })
    .collect();
    let asked = |value: Option<String>| value.unwrap_or_else(|| "Not asked".to_owned());
    let set = bands::set(&last.band_set);
    Ok(Some(SkinView {
        map: facts.maps.get(&last.id).map(|cells| map_view::draw(&found, cells)),
        score: shown::score(last.score, before.map(|a| a.score), &last.band, Some(last.assessed_on)),
        facts: vec![
            ("Assessed".to_owned(), display::short_date(last.assessed_on)),
            ("Pain of the skin".to_owned(), asked(symptoms.skin_pain.map(|p| format!("{p} of 10")))),
            ("Leaks".to_owned(), asked(symptoms.leaks_of_last_10.map(|l| format!("{l} of the last 10 changes")))),
            ("Wear".to_owned(), asked(symptoms.wear_days.map(|d| format!("{d} days")))),
            ("Colour of the stoma".to_owned(), found.colour.map_or_else(|| "Not recorded".to_owned(), |c| capital(&c))),
            (
                "Likely cause".to_owned(),
                last.cause.as_deref().map_or_else(|| "None recorded".to_owned(), causes::words),
            ),
        ],
        domains,
        standing: set.map_or("", |s| s.source.standing.words()).to_owned(),
        source: set.map_or_else(String::new, |s| s.source.source.to_string()),
    }))
}

fn line_view(line: &LineRow) -> LineView {
    let uses = u32::try_from(line.use_units)
        .ok()
        .zip(u32::try_from(line.use_every_days).ok())
        .and_then(|(units, days)| Use::new(units, days));
    LineView {
        item: line.name.clone(),
        detail: line.size.clone().unwrap_or_default(),
        quantity: format!(
            "{} units ({} packs of {}), {}",
            line.units,
            line.packs,
            line.pack,
            uses.as_ref().map(use_in_words).unwrap_or_default()
        ),
        note: line.reason.clone(),
    }
}

/// A review in words; the reasons only for those who may see them.
pub fn review_view(review: &Review, clinical: bool) -> ReviewView {
    let on = review.due_on();
    let reasons: Vec<String> = review.reasons.read().unwrap_or_default();
    let (state, kind) = match review.status.as_str() {
        "proposed" => ("planned", "plain"),
        "booked" => ("booked", "good"),
        "fulfilled" => ("took place", "good"),
        "noshow" => ("missed", "bad"),
        "cancelled" => ("cancelled", "plain"),
        _ => ("entered in error", "plain"),
    };
    let window = match review.earliest_on {
        Some(first) if first == review.latest_on => display::short_date(first),
        Some(first) => format!("{} to {}", display::short_date(first), display::short_date(review.latest_on)),
        None => format!("by {}", display::short_date(review.latest_on)),
    };
    let mut why = vec![review.title.clone()];
    if clinical {
        why.extend(reasons);
        why.extend(review.off_plan.clone().map(|off| format!("Off plan: {off}")));
        why.extend(review.deferred_reason.clone().map(|r| format!("Deferred: {r}")));
        why.extend(review.closed_reason.clone().map(|r| format!("Closed: {r}")));
    }
    let time = review.booked_time.as_deref().filter(|_| review.status == "booked");
    ReviewView {
        on: time.map_or_else(|| display::weekday_date(on), |time| format!("{} {time}", display::weekday_date(on))),
        on_iso: on.to_string(),
        window,
        place: capital(&review.mode),
        why: why.join(". "),
        state: state.to_owned(),
        state_kind: kind.to_owned(),
    }
}

fn timeline<'a>(facts: &Facts, name_of: impl Fn(crate::db::ids::StaffId) -> &'a str) -> Vec<EntryView> {
    let id = facts.patient.id;
    let mut entries: Vec<(NaiveDate, EntryView)> = Vec::new();
    for a in &facts.assessments {
        let text = [
            a.plan.clone().unwrap_or_default(),
            a.amend_reason.clone().map(|r| format!("Amended: {r}")).unwrap_or_default(),
        ];
        entries.push((
            a.assessed_on,
            EntryView {
                on: display::short_date(a.assessed_on),
                on_iso: a.assessed_on.to_string(),
                href: format!("/patients/{id}/skin"),
                title: format!("Skin assessment: score {} of 15, {}", a.score, a.band),
                by: name_of(a.signed_by).to_owned(),
                text: text.join(" ").trim().to_owned(),
            },
        ));
    }
    for c in &facts.contacts {
        let outcome = match c.outcome.as_str() {
            "fulfilled" => "",
            "noshow" => ": did not attend",
            "no-answer" => ": no answer",
            _ => ": cancelled",
        };
        entries.push((
            c.held_on,
            EntryView {
                on: display::short_date(c.held_on),
                on_iso: c.held_on.to_string(),
                href: format!("/patients/{id}/follow-up"),
                title: format!("{} contact{outcome}", capital(&c.mode)),
                by: name_of(c.made_by).to_owned(),
                text: c.note.clone().unwrap_or_default(),
            },
        ));
    }
    entries.sort_by_key(|(on, _)| std::cmp::Reverse(*on));
    entries.into_iter().map(|(_, entry)| entry).collect()
}
