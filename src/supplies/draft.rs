//! A patient's supplies: what is in force, and drawing up or changing a list. Nothing here signs.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use serde::Deserialize;

use super::draft_page::{DraftView, ListView, Shown, SuppliesPage, VersionView, line_view};
use super::forms::{DraftFacts, DraftForm, MOST_LINES, SPARE_LINES, Wrong};
use super::order::{self, Checked, Whose};
use super::rules::RULE_VERSION;
use super::store::{self, Item, LineRow, Prescription};
use crate::access::store as access;
use crate::audit::{Event, append, view};
use crate::db::ids::{PatientId, PrescriptionId, ServiceId, StaffId, StomaId};
use crate::db::{Conn, Doc, Stamp, StoreError, Tx};
use crate::display;
use crate::drafts::{self, Draft, Kept, Place};
use crate::patients::banner::banner;
use crate::patients::identifiers::Identifier;
use crate::patients::store::{self as patients, Patient};
use crate::skin::store::{self as skin, AssessmentRow};
use crate::stomas::store::{self as stomas, Stoma};
use crate::web::form_view::ErrorSummary;
use crate::web::views::Link;
use crate::web::{Answer, AppError, PathOf, Permission, Posted, QueryOf, Signed, State, page, see_other};

/// Which stoma the form is for, where there are several.
#[derive(Deserialize)]
pub struct Chosen {
    stoma: Option<StomaId>,
}

struct Loaded {
    patient: Patient,
    identifiers: Vec<Identifier>,
    stomas: Vec<Stoma>,
    assessments: Vec<AssessmentRow>,
    lists: Vec<Prescription>,
    /// Lines of drafts and lists in force.
    lines: Vec<(PrescriptionId, Vec<LineRow>)>,
    items: Vec<Item>,
    staff: Vec<(StaffId, String)>,
}

fn load(conn: &mut Conn, service: ServiceId, id: PatientId) -> Result<Loaded, StoreError> {
    let lists = store::of_patient(conn, service, id)?;
    let mut lines = Vec::new();
    for held in lists.iter().filter(|p| matches!(p.status.as_str(), "draft" | "signed")) {
        lines.push((held.id, store::lines(conn, service, held.id)?));
    }
    Ok(Loaded {
        patient: patients::find(conn, service, id)?,
        identifiers: patients::identifiers_of(conn, service, id)?,
        stomas: stomas::of_patient(conn, service, id)?,
        assessments: skin::of_patient(conn, service, id, false)?,
        lists,
        lines,
        items: store::items(conn, service, true)?,
        staff: access::everybody(conn, service)?.into_iter().map(|row| (row.id, row.display_name)).collect(),
    })
}

async fn seen(state: &State, signed: &Signed, id: PatientId) -> Result<Loaded, AppError> {
    let service = signed.service.id;
    Ok(view(&state.db, &signed.actor, move |conn| {
        Ok((load(conn, service, id)?, Event::read("patient.supplies").about(id)))
    })
    .await?)
}

/// Where the form of a stoma's list lives, for what was typed and not saved.
fn place(id: PatientId, stoma: StomaId) -> Result<Place, AppError> {
    format!("/patients/{id}/supplies?stoma={stoma}").parse().map_err(|_| AppError::NotFound)
}

/// What was typed into the form of this stoma's list and not saved; noted in the log when there is something.
async fn kept(state: &State, signed: &Signed, place: Place) -> Result<Option<Kept>, AppError> {
    let actor = signed.actor.clone();
    let found = state.db.read(move |conn| drafts::kept(conn, &actor, &place)).await?;
    if found.is_some() {
        let event = Kept::noted(found.as_ref(), Event::read("draft"));
        state.db.write(&signed.actor, move |tx| append(tx, event).map(drop)).await.map_err(|e: StoreError| e)?;
    }
    Ok(found)
}

impl Loaded {
    fn list_of(&self, stoma: StomaId, status: &str) -> Option<&Prescription> {
        self.lists.iter().find(|p| p.stoma_id == stoma && p.status == status)
    }

    fn lines_of(&self, held: Option<&Prescription>) -> &[LineRow] {
        let found = held.and_then(|held| self.lines.iter().find(|(id, _)| *id == held.id));
        found.map_or(&[], |(_, lines)| lines)
    }

    fn whose<'a>(&'a self, stoma: &'a Stoma, today: NaiveDate) -> Whose<'a> {
        let last = self.assessments.iter().find(|row| row.stoma_id == stoma.id);
        Whose { patient: &self.patient, stoma, last, today }
    }

    fn staff_name(&self, id: StaffId) -> &str {
        self.staff.iter().find(|(known, _)| *known == id).map_or("Not known", |(_, name)| name)
    }

    /// Stomas a list can be drawn up for: none once the record has ended.
    fn open_stomas(&self) -> Vec<&Stoma> {
        let ended = self.patient.ended_reason.is_some();
        self.stomas.iter().filter(|stoma| !ended && stoma.reversed_on.is_none()).collect()
    }
}

/// "End ileostomy, permanent"; with the place where a patient has several.
fn stoma_words(stoma: &Stoma, several: bool) -> String {
    match stoma.place.as_deref().filter(|place| several && !place.is_empty()) {
        Some(place) => format!("{}, {place}", stoma.words()),
        None => stoma.words(),
    }
}

fn list_view(loaded: &Loaded, stoma: &Stoma) -> ListView {
    let several = loaded.stomas.len() > 1;
    let (in_force, draft) = (loaded.list_of(stoma.id, "signed"), loaded.list_of(stoma.id, "draft"));
    let mut links = Vec::new();
    let mut link = |href: String, label: &str| links.push(Link { href, label: label.to_owned(), current: false });
    if let Some(list) = in_force {
        link(format!("/prescriptions/{}/summary", list.id), "Summary for GP and dispenser");
        link(format!("/prescriptions/{}/summary.pdf", list.id), "Open the PDF");
    }
    if let Some(draft) = draft {
        link(format!("/prescriptions/{}/summary", draft.id), "Check the draft");
    }
    let words = match in_force {
        Some(list) => {
            let on = list.signed_at.map(|at| display::short_date(local(at))).unwrap_or_default();
            let by = list.signed_by.map(|id| loaded.staff_name(id)).unwrap_or_default();
            let draft = if draft.is_some() { " A draft of a new list is below, not signed." } else { "" };
            format!("For {} days, signed {on} by {by}.{draft}", list.period_days)
        }
        None if draft.is_some() => "No list is in force. A draft is there, not signed.".to_owned(),
        None => "No list is in force.".to_owned(),
    };
    let alert = match (stoma.reversed_on, &loaded.patient.ended_reason, in_force) {
        (_, Some(_), Some(_)) => Some("The record has ended, and this list is still in force: stop it.".to_owned()),
        (Some(on), _, Some(_)) => {
            Some(format!("Reversed on {}, and this list is still in force: stop it.", display::short_date(on)))
        }
        _ => None,
    };
    let rows = loaded.lines_of(in_force).iter().map(line_view).collect();
    ListView { title: stoma_words(stoma, several), words, lines: rows, links, alert }
}

/// The civil date of a moment where the service is.
pub(super) fn local(at: Stamp) -> NaiveDate {
    at.at().with_timezone(&chrono::Local).date_naive()
}

/// State of a version: kind of tag, and words.
pub(super) fn state_words(held: &Prescription) -> (&'static str, &'static str) {
    match held.status.as_str() {
        "draft" => ("mind", "Draft, not signed"),
        "signed" => ("good", "In force"),
        "superseded" => ("plain", "Superseded"),
        "stopped" if held.signed_at.is_none() => ("plain", "Draft thrown away"),
        _ => ("bad", "Stopped"),
    }
}

fn versions(loaded: &Loaded) -> Vec<VersionView> {
    let several = loaded.stomas.len() > 1;
    let row = |held: &Prescription| {
        let stoma = loaded.stomas.iter().find(|stoma| stoma.id == held.stoma_id);
        let (kind, state) = state_words(held);
        let on = local(held.signed_at.unwrap_or(held.drawn_up_at));
        let by = loaded.staff_name(held.signed_by.unwrap_or(held.drawn_up_by));
        VersionView {
            number: held.number.to_string(),
            href: format!("/prescriptions/{}/summary", held.id),
            stoma: stoma.map(|stoma| stoma_words(stoma, several)).unwrap_or_default(),
            kind,
            state: state.to_owned(),
            on: display::short_date(on),
            on_iso: on.format("%Y-%m-%d").to_string(),
            by: if held.signed_by.is_some() { format!("signed by {by}") } else { format!("drawn up by {by}") },
        }
    };
    loaded.lists.iter().map(row).collect()
}

/// What stands in the form of a page, and what was made of it.
struct Filled<'a> {
    stoma: &'a Stoma,
    form: DraftForm,
    wrong: Wrong,
    checked: Option<(DraftFacts, Checked)>,
    /// When what stands in it was kept, if it was typed before and not saved.
    from: Option<String>,
}

fn form_view(signed: &Signed, loaded: &Loaded, filled: &Filled<'_>) -> DraftView {
    let Filled { stoma, form, wrong, checked, .. } = filled;
    let (draft, in_force) = (loaded.list_of(stoma.id, "draft"), loaded.list_of(stoma.id, "signed"));
    let intro = match (draft, in_force) {
        (Some(draft), _) => format!(
            "Version {}, last saved {} by {}.",
            draft.number,
            display::short_date(local(draft.drawn_up_at)),
            loaded.staff_name(draft.drawn_up_by)
        ),
        (None, Some(list)) => format!(
            "The lines are those in force since {}: confirm each, and state anew what is at hand.",
            list.signed_at.map(|at| display::short_date(local(at))).unwrap_or_default()
        ),
        (None, None) => "The first list for this stoma.".to_owned(),
    };
    let shown = Shown {
        form,
        wrong,
        items: &loaded.items,
        checked: checked.as_ref().map(|(facts, checked)| (facts.lines.as_slice(), checked)),
        set: &signed.service.quantity_set,
    };
    let act = if draft.is_some() { "Draft" } else { "New draft" };
    DraftView {
        heading: format!("{act}: {}", stoma_words(stoma, loaded.stomas.len() > 1)),
        intro,
        action: format!("/patients/{}/supplies", loaded.patient.id),
        patient: loaded.patient.display_name(),
        ..shown.view()
    }
}

fn build(signed: &Signed, loaded: &Loaded, filled: Option<&Filled<'_>>, today: NaiveDate) -> SuppliesPage {
    let may_draw_up = signed.may(Permission::DrawUpSupplies);
    let shown = loaded.stomas.iter().filter(|stoma| {
        stoma.reversed_on.is_none() || loaded.lists.iter().any(|p| p.stoma_id == stoma.id && p.status == "signed")
    });
    let open = loaded.open_stomas();
    let several = loaded.stomas.len() > 1;
    let here = format!("/patients/{}/supplies", loaded.patient.id);
    let choose: Vec<Link> = open
        .iter()
        .filter(|_| may_draw_up && open.len() > 1)
        .map(|stoma| Link {
            href: format!("{here}?stoma={}#draft", stoma.id),
            label: stoma_words(stoma, several),
            current: filled.is_some_and(|filled| filled.stoma.id == stoma.id),
        })
        .collect();
    let mut errors = ErrorSummary::none();
    for (id, text) in filled.iter().flat_map(|filled| &filled.wrong) {
        errors.push(id.clone(), text.clone());
    }
    let standfirst = if loaded.patient.ended_reason.is_some() {
        "The record has ended: no new list can be drawn up."
    } else if loaded.stomas.is_empty() {
        "No stoma is recorded: record it first, then a list can be drawn up."
    } else {
        "What is supplied now, and the list that comes next. Only a prescriber’s signature puts a list in force."
    };
    let title = if errors.is_empty() { "Supplies" } else { "Error: Supplies" };
    SuppliesPage {
        shell: signed.shell(title, "/patients"),
        banner: banner(&loaded.patient, &loaded.identifiers, today),
        errors,
        standfirst: standfirst.to_owned(),
        lists: shown.map(|stoma| list_view(loaded, stoma)).collect(),
        choose,
        draft: filled
            .and_then(|filled| Some((filled, place(loaded.patient.id, filled.stoma.id).ok()?)))
            .map(|(filled, place)| Draft { from: filled.from.clone(), ..Draft::at(&place, None) })
            .unwrap_or_default(),
        form: filled.map(|filled| form_view(signed, loaded, filled)),
        theirs: Vec::new(),
        versions: versions(loaded),
    }
}

/// `GET /patients/{id}/supplies`
pub async fn form(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>, chosen: QueryOf<Chosen>) -> Answer {
    let today = state.clock.today();
    let loaded = seen(&state, &signed, path.into_inner()).await?;
    let open = loaded.open_stomas();
    let stoma = match (chosen.0.stoma, open.as_slice()) {
        (Some(id), _) => Some(*open.iter().find(|stoma| stoma.id == id).ok_or(AppError::NotFound)?),
        (None, [only]) => Some(*only),
        (None, _) => None,
    };
    let stoma = stoma.filter(|_| signed.may(Permission::DrawUpSupplies));
    let typed = match stoma {
        Some(stoma) => kept(&state, &signed, place(loaded.patient.id, stoma.id)?).await?,
        None => None,
    };
    let mut filled = stoma.map(|stoma| {
        let draft = loaded.list_of(stoma.id, "draft");
        let held = draft.or_else(|| loaded.list_of(stoma.id, "signed"));
        let mut form = DraftForm::of(held, loaded.lines_of(held), loaded.patient.dispenser.as_deref());
        form.draft = draft.map_or_else(PrescriptionId::new, |draft| draft.id).to_string();
        form.stoma = stoma.id.to_string();
        form.add_empty(SPARE_LINES);
        Filled { stoma, form, wrong: Wrong::new(), checked: None, from: None }
    });
    if let (Some(filled), Some(typed)) = (&mut filled, &typed) {
        filled.form = typed.form()?;
        filled.from = Some(typed.when());
    }
    page(StatusCode::OK, &build(&signed, &loaded, filled.as_ref(), today))
}

/// `POST /patients/{id}/supplies`: more lines, a check, or the draft saved.
pub async fn post(state: web::Data<State>, signed: Signed, path: PathOf<PatientId>, form: Posted<DraftForm>) -> Answer {
    let today = state.clock.today();
    let mut form = form.0;
    if form.item.len() > MOST_LINES {
        return Err(AppError::Unreadable(format!("A list has at most {MOST_LINES} lines. Nothing was saved.")));
    }
    let loaded = seen(&state, &signed, path.into_inner()).await?;
    let open = loaded.open_stomas();
    let stoma = open.iter().find(|stoma| stoma.id.to_string() == form.stoma).copied();
    let stoma = stoma.ok_or_else(|| {
        AppError::Conflict("No list can be drawn up for this stoma: the record has ended, or it was reversed.".into())
    })?;
    let id: PrescriptionId = form.draft.parse().map_err(|_| AppError::NotFound)?;
    let empty = form.tidy();
    if form.act == "more" {
        form.add_empty(empty + SPARE_LINES);
        let filled = Filled { stoma, form, wrong: Wrong::new(), checked: None, from: None };
        return page(StatusCode::OK, &build(&signed, &loaded, Some(&filled), today));
    }
    let read = form.read(&loaded.items, today);
    form.add_empty(SPARE_LINES);
    let facts = match read {
        Ok(facts) => facts,
        Err(wrong) => {
            let filled = Filled { stoma, form, wrong, checked: None, from: None };
            return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, &loaded, Some(&filled), today));
        }
    };
    let set = &signed.service.quantity_set;
    let checked = order::check(loaded.whose(stoma, today), facts.period, set, &facts.lines)?;
    let stands = loaded.list_of(stoma.id, "draft").filter(|held| held.id == id && held.version != form.version);
    if let Some(stands) = stands.filter(|_| form.act == "save") {
        // Somebody else saved the draft meanwhile: theirs is shown beside what was typed, which is on the version of now.
        let by = loaded.staff_name(stands.drawn_up_by);
        let text = format!(
            "Somebody else changed this draft since the form was opened: version {} is now as {by} saved it. Nothing of \
             yours is saved yet. Theirs is shown first; saving now puts yours in its place",
            stands.number
        );
        form.version = stands.version;
        let theirs = loaded.lines_of(Some(stands)).iter().map(line_view).collect();
        let filled = Filled {
            stoma,
            form,
            wrong: vec![("theirs".to_owned(), text)],
            checked: Some((facts, checked)),
            from: None,
        };
        let mut shown = build(&signed, &loaded, Some(&filled), today);
        shown.theirs = theirs;
        return page(StatusCode::CONFLICT, &shown);
    }
    if form.act != "save" {
        let filled = Filled { stoma, form, wrong: Wrong::new(), checked: Some((facts, checked)), from: None };
        return page(StatusCode::OK, &build(&signed, &loaded, Some(&filled), today));
    }
    let draft = Prescription {
        id,
        service_id: signed.service.id,
        patient_id: loaded.patient.id,
        stoma_id: stoma.id,
        number: 0,
        status: "draft".to_owned(),
        period_days: i32::from(facts.period.days()),
        quantity_set: set.clone(),
        rule_version: RULE_VERSION.to_owned(),
        findings: Doc::of(&checked.findings)?,
        dispenser: facts.dispenser,
        note: facts.note,
        override_reason: None,
        drawn_up_by: signed.staff_id,
        drawn_up_at: Stamp::new(state.clock.now()),
        signed_by: None,
        signed_at: None,
        supersedes_id: None,
        stopped_reason: None,
        version: form.version,
    };
    let rows = order::rows((draft.service_id, draft.patient_id, id), &facts.lines, &checked)?;
    let place = place(draft.patient_id, draft.stoma_id)?;
    state
        .db
        .write(&signed.actor, move |tx| {
            drafts::drop_at(tx, &place)?;
            save(tx, draft, &rows)
        })
        .await?;
    Ok(see_other(format!("/prescriptions/{id}/summary")))
}

fn save(tx: &mut Tx<'_>, draft: Prescription, rows: &[LineRow]) -> Result<(), AppError> {
    let (service, patient) = (draft.service_id, draft.patient_id);
    let held = match store::find(tx.conn(), service, draft.id) {
        Ok(held) if held.patient_id != patient || held.stoma_id != draft.stoma_id => return Err(AppError::NotFound),
        Ok(held) => Some(held),
        Err(StoreError::NotFound) => None,
        Err(error) => return Err(error.into()),
    };
    let event = if held.is_some() { Event::update("prescription.draft") } else { Event::create("prescription.draft") };
    let event = event.about(patient).with("prescription", draft.id).with("lines", rows.len());
    let draft = match held {
        Some(held) => Prescription { number: held.number, ..draft },
        None => Prescription { number: store::next_number(tx.conn(), service, patient)?, version: 1, ..draft },
    };
    store::save_draft(tx, &draft, rows)?;
    access::say(tx, "The draft is saved. Check it here: it is not signed, and nothing is supplied from it.")?;
    append(tx, event)?;
    Ok(())
}
