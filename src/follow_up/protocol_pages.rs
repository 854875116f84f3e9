//! Protocols: the list, one with its picture and its versions, copying, editing as a form or as text, comparing.
//! Putting into force stands in `force`.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::pages::{
    ComparePage, DraftPage, ProtocolPage, ProtocolTextPage, ProtocolView, ProtocolsPage, StepView, VersionView,
};
use super::picture;
use super::protocol_form::{ProtocolForm, Wrong};
use super::protocols::{self, Own, Version};
use super::rules::protocol_toml::TomlFaults;
use super::rules::step_words::compare;
use super::rules::{Protocol, Step, shipped, shipped_by_id};
use crate::access::store::{self as services, say};
use crate::audit::{Event, append, view};
use crate::db::ids::ServiceId;
use crate::db::{Conn, StoreError, Tx};
use crate::display;
use crate::provenance::Standing;
use crate::web::form_view::{ErrorSummary, Field, Width};
use crate::web::views::Link;
use crate::web::{Answer, AppError, PathOf, Permission, Posted, QueryOf, Signed, State, page, see_other};

/// Blank rows that the form opens with.
const BLANK_ROWS: usize = 1;

/// A protocol by the code in an address: shipped, or own with its versions.
pub(super) enum Found {
    Shipped(&'static Protocol),
    Own(Own, Vec<Version>),
}

impl Found {
    pub(super) fn load(conn: &mut Conn, service: ServiceId, code: &str) -> Result<Self, StoreError> {
        if let Some(protocol) = shipped_by_id(code) {
            return Ok(Self::Shipped(protocol));
        }
        let own = protocols::find(conn, service, code)?;
        let versions = protocols::versions(conn, service, own.id)?;
        Ok(Self::Own(own, versions))
    }

    /// The draft of an own protocol.
    pub(super) fn draft(&self) -> Option<&Version> {
        match self {
            Self::Shipped(_) => None,
            Self::Own(_, versions) => versions.iter().find(|v| v.is_draft()),
        }
    }
}

/// The draft of an own protocol, or words on what to do.
pub(super) fn own_draft(found: Found) -> Result<(Own, Version, Vec<Version>), AppError> {
    match found {
        Found::Own(own, versions) => {
            let draft = versions.iter().find(|v| v.is_draft()).cloned();
            let draft = draft.ok_or_else(|| {
                AppError::Conflict("There is no draft of this protocol. Open one on its page first.".into())
            })?;
            Ok((own, draft, versions))
        }
        Found::Shipped(_) => Err(AppError::Conflict(
            "A protocol that comes with the program is not changed. Copy it, and change the copy.".into(),
        )),
    }
}

/// `GET /protocols`
pub async fn list(state: web::Data<State>, signed: Signed) -> Answer {
    let (id, today) = (signed.service.id, state.clock.today());
    let (service, own) = view(&state.db, &signed.actor, move |conn| {
        let mut own = Vec::new();
        for protocol in protocols::own(conn, id)? {
            let versions = protocols::versions(conn, id, protocol.id)?;
            own.push((protocol, versions));
        }
        Ok(((services::service(conn, id)?, own), Event::read("protocols")))
    })
    .await?;
    let used = |id: &str| {
        let kinds = [
            ("colostomies", &service.protocol_colostomy),
            ("ileostomies", &service.protocol_ileostomy),
            ("urostomies", &service.protocol_urostomy),
        ];
        kinds.into_iter().filter(|(_, used)| *used == id).map(|(kind, _)| kind).collect::<Vec<_>>().join(", ")
    };
    let mut shown = Vec::new();
    for (protocol, versions) in &own {
        let counting = protocols::counting(versions, today);
        let Some(version) = counting.or(versions.first()) else { continue };
        let mut view = protocol_view(&version.protocol()?, used(&protocol.code));
        view.state = state_words(version, counting);
        shown.push(view);
    }
    shown.extend(shipped().iter().map(|p| protocol_view(p, used(&p.id))));
    let page_of =
        ProtocolsPage { shell: signed.shell("Protocols", "/protocols"), links: links(&signed), protocols: shown };
    page(StatusCode::OK, &page_of)
}

/// Pages that belong to the calendar of the service.
fn links(signed: &Signed) -> Vec<Link> {
    let link = |href: &str, label: &str| Link { href: href.to_owned(), label: label.to_owned(), current: false };
    let mut links = vec![link("/follow-up/year", "The year ahead"), link("/closures", "Working days and closures")];
    if signed.may(Permission::EditService) {
        links.push(link("/follow-up/runs", "The daily task"));
    }
    links
}

/// A version's state: "in force since 01-Feb-2026", "draft".
fn state_words(version: &Version, counting: Option<&Version>) -> String {
    match version.in_force_from {
        None => "draft".to_owned(),
        Some(from) if counting.is_some_and(|c| c.id == version.id) => {
            format!("in force since {}", display::short_date(from))
        }
        Some(from) if counting.is_none_or(|c| c.in_force_from < Some(from)) => {
            format!("in force from {}", display::short_date(from))
        }
        Some(from) => format!("was in force from {}", display::short_date(from)),
    }
}

fn protocol_view(protocol: &Protocol, used_for: String) -> ProtocolView {
    ProtocolView {
        id: protocol.id.clone(),
        title: protocol.title.clone(),
        version: protocol.version.to_string(),
        source: protocol.source.clone(),
        standing: protocol.standing.words().to_owned(),
        address: protocol.address.clone().unwrap_or_default(),
        note: protocol.note.clone().unwrap_or_default(),
        state: "comes with the program".to_owned(),
        used_for,
        steps: protocol.steps.iter().map(step_view).collect(),
    }
}

fn step_view(step: &Step) -> StepView {
    StepView {
        title: step.name().to_owned(),
        when: step.when_words(),
        mode: step.mode.words().to_owned(),
        only: step.only_words(),
        note: step.note.clone().unwrap_or_default(),
    }
}

/// Which version.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Which {
    version: Option<i32>,
    from: Option<i32>,
    to: Option<i32>,
}

/// `GET /protocols/{code}`
pub async fn one(state: web::Data<State>, signed: Signed, path: PathOf<String>, which: QueryOf<Which>) -> Answer {
    let (code, service, today) = (path.into_inner(), signed.service.id, state.clock.today());
    let sought = code.clone();
    let (found, followers) = view(&state.db, &signed.actor, move |conn| {
        let found = Found::load(conn, service, &sought)?;
        let followers = crate::stomas::store::patients_following(conn, service, &sought)?.len();
        Ok(((found, followers), Event::read("protocol").with("protocol", sought)))
    })
    .await?;
    let (protocol, versions, state_of) = match &found {
        Found::Shipped(protocol) => ((*protocol).clone(), Vec::new(), "comes with the program".to_owned()),
        Found::Own(_, versions) => {
            let counting = protocols::counting(versions, today);
            let chosen = match which.0.version {
                Some(number) => versions.iter().find(|v| v.number == number),
                None => counting.or(versions.first()),
            };
            let chosen = chosen.ok_or(AppError::NotFound)?;
            let listed = versions
                .iter()
                .map(|v| VersionView {
                    number: v.number.to_string(),
                    state: state_words(v, counting),
                    href: format!("/protocols/{code}?version={}", v.number),
                    current: v.id == chosen.id,
                    compare: (v.number > 1)
                        .then(|| format!("/protocols/{code}/compare?from={}&to={}", v.number - 1, v.number)),
                })
                .collect();
            (chosen.protocol()?, listed, state_words(chosen, counting))
        }
    };
    let may_edit = signed.may(Permission::EditProtocols);
    let own = matches!(found, Found::Own(..));
    let draft = found.draft();
    let mut view = protocol_view(&protocol, String::new());
    view.state = state_of;
    let shown = ProtocolPage {
        shell: signed.shell(protocol.title.clone(), "/protocols"),
        pictures: picture::of_protocol(&protocol),
        copied_from: match &found {
            Found::Own(own, _) => own.copied_from.clone(),
            Found::Shipped(_) => String::new(),
        },
        followers: display::counted(followers, "patient"),
        versions,
        copy: may_edit.then(|| format!("/protocols/{code}/copy")),
        open: (may_edit && own && draft.is_none()).then(|| format!("/protocols/{code}/draft")),
        edit: draft.filter(|_| may_edit).map(|_| format!("/protocols/{code}/draft")),
        force: draft.filter(|_| signed.may(Permission::EditService)).map(|_| format!("/protocols/{code}/force")),
        text: format!("/protocols/{code}/text?version={}", protocol.version),
        p: view,
    };
    page(StatusCode::OK, &shown)
}

/// Nothing but the button.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Pressed {
    version: i32,
}

/// `POST /protocols/{code}/copy`: a copy of the service's own, opened as a draft.
pub async fn copy(state: web::Data<State>, signed: Signed, path: PathOf<String>, _: Posted<Pressed>) -> Answer {
    let (code, service, today) = (path.into_inner(), signed.service.id, state.clock.today());
    let made = state
        .db
        .write(&signed.actor, move |tx| {
            let from = match Found::load(tx.conn(), service, &code)? {
                Found::Shipped(protocol) => protocol.clone(),
                Found::Own(_, versions) => {
                    let version = protocols::counting(&versions, today).or(versions.first());
                    version.ok_or(StoreError::NotFound)?.protocol()?
                }
            };
            let title = format!("{} (own copy)", from.title);
            let copied_from = format!("{}, version {} ({})", from.title, from.version, from.standing.words());
            let id = protocols::free_code(tx.conn(), service, &title)?;
            // What a service has changed is its own, whatever it was copied from.
            let copy = Protocol {
                id,
                source: format!("Local, copied from: {}", from.source),
                title,
                version: 1,
                year: None,
                address: None,
                standing: Standing::Local,
                ..from
            };
            let own = protocols::create(tx, &copy, &copied_from)?;
            say(tx, "A copy is made as a draft. It plans nothing until it is put into force.")?;
            append(tx, Event::create("protocol").with("protocol", own.code.clone()))?;
            Ok::<_, StoreError>(own.code)
        })
        .await?;
    Ok(see_other(format!("/protocols/{made}/draft")))
}

fn draft_page(signed: &Signed, own: &Own, number: i32, form: &ProtocolForm, wrong: &Wrong, blank: usize) -> DraftPage {
    let f = form.fields(wrong, blank);
    let heading = format!("Draft of version {number}");
    DraftPage {
        shell: signed.shell(if wrong.is_empty() { heading.clone() } else { format!("Error: {heading}") }, "/protocols"),
        heading,
        code: own.code.clone(),
        f,
    }
}

async fn load_draft(
    state: &State,
    signed: &Signed,
    code: String,
    what: &'static str,
) -> Result<(Own, Version, Vec<Version>), AppError> {
    let service = signed.service.id;
    let found = view(&state.db, &signed.actor, move |conn| {
        Ok((Found::load(conn, service, &code)?, Event::read(what).with("protocol", code)))
    })
    .await?;
    own_draft(found)
}

/// `GET /protocols/{code}/draft`
pub async fn draft_form(state: web::Data<State>, signed: Signed, path: PathOf<String>) -> Answer {
    let (own, draft, _) = load_draft(&state, &signed, path.into_inner(), "protocol.draft").await?;
    let form = ProtocolForm::of(&draft.protocol()?, draft.version);
    page(StatusCode::OK, &draft_page(&signed, &own, draft.number, &form, &Wrong::new(), BLANK_ROWS))
}

/// `POST /protocols/{code}/draft`: opens the next draft, shows another row, or saves.
pub async fn draft(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<String>,
    form: Posted<ProtocolForm>,
) -> Answer {
    let (code, form) = (path.into_inner(), form.0);
    if form.act == "open" {
        let (service, today, to) = (signed.service.id, state.clock.today(), code.clone());
        state
            .db
            .write(&signed.actor, move |tx| {
                let Found::Own(own, versions) = Found::load(tx.conn(), service, &code)? else {
                    return Err(StoreError::NotFound);
                };
                if versions.iter().any(Version::is_draft) {
                    return Err(StoreError::Stale);
                }
                let from = protocols::counting(&versions, today).or(versions.first()).ok_or(StoreError::NotFound)?;
                let number = versions.first().map_or(1, |newest| newest.number + 1);
                protocols::draft(tx, &own, &from.protocol()?, number)?;
                append(tx, Event::create("protocol.draft").with("protocol", code)).map(drop)
            })
            .await?;
        return Ok(see_other(format!("/protocols/{to}/draft")));
    }
    let (own, draft, _) = load_draft(&state, &signed, code.clone(), "protocol.draft").await?;
    if form.act == "row" {
        let blank = BLANK_ROWS + 1;
        return page(StatusCode::OK, &draft_page(&signed, &own, draft.number, &form, &Wrong::new(), blank));
    }
    match form.read(&draft.protocol()?) {
        Err(wrong) => {
            page(StatusCode::UNPROCESSABLE_ENTITY, &draft_page(&signed, &own, draft.number, &form, &wrong, BLANK_ROWS))
        }
        Ok(protocol) => {
            let shown = form.version;
            state.db.write(&signed.actor, move |tx| keep(tx, &own, &draft, shown, &protocol)).await?;
            Ok(see_other(format!("/protocols/{code}?version={}", number_of_draft(&state, &signed, &code).await?)))
        }
    }
}

async fn number_of_draft(state: &State, signed: &Signed, code: &str) -> Result<i32, AppError> {
    let (service, code) = (signed.service.id, code.to_owned());
    let found = state.db.read(move |conn| Found::load(conn, service, &code)).await?;
    found.draft().map(|draft| draft.number).ok_or(AppError::NotFound)
}

fn keep(tx: &mut Tx<'_>, own: &Own, draft: &Version, shown: i32, protocol: &Protocol) -> Result<(), StoreError> {
    protocols::save(tx, own, draft.id, shown, protocol)?;
    say(tx, &format!("The draft of version {} is saved. It plans nothing until it is put into force.", draft.number))?;
    append(tx, Event::update("protocol.draft").with("protocol", own.code.clone())).map(drop)
}

/// `POST /protocols/{code}/discard`
pub async fn discard(state: web::Data<State>, signed: Signed, path: PathOf<String>, form: Posted<Pressed>) -> Answer {
    let (own, draft, versions) = load_draft(&state, &signed, path.into_inner(), "protocol.draft").await?;
    let (shown, code, others) = (form.0.version, own.code.clone(), versions.len() > 1);
    state
        .db
        .write(&signed.actor, move |tx| {
            protocols::drop_draft(tx, &own, draft.id, shown)?;
            say(tx, "The draft is thrown away.")?;
            append(tx, Event::update("protocol.draft").with("protocol", own.code.clone()).with("dropped", true))
                .map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(if others { format!("/protocols/{code}") } else { "/protocols".to_owned() }))
}

/// The text as it was typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct TextForm {
    version: i32,
    text: String,
}

fn text_page(
    signed: &Signed,
    code: &str,
    title: &str,
    text: &str,
    edits: Option<i32>,
    faults: Option<&TomlFaults>,
) -> ProtocolTextPage {
    let mut errors = ErrorSummary::none();
    for fault in faults.into_iter().flat_map(|f| &f.faults) {
        let gap = if fault.field.is_empty() { "" } else { " " };
        errors.push("text", format!("Line {}: {}{gap}{}", fault.line, fault.field, fault.message));
    }
    let heading = format!("{title} as text");
    let first = errors.items.first().map(|(_, words)| words.clone());
    ProtocolTextPage {
        shell: signed
            .shell(if errors.is_empty() { heading.clone() } else { format!("Error: {heading}") }, "/protocols"),
        heading,
        code: code.to_owned(),
        rows: (text.lines().count() + 2).to_string(),
        text: Field::new("text", "The protocol file").value(text).width(Width::Full).error(first),
        version: edits.map(|v| v.to_string()),
        errors,
    }
}

/// `GET /protocols/{code}/text`: for copying out, and of a draft for editing.
pub async fn text_form(state: web::Data<State>, signed: Signed, path: PathOf<String>, which: QueryOf<Which>) -> Answer {
    let (code, service) = (path.into_inner(), signed.service.id);
    let sought = code.clone();
    let found = view(&state.db, &signed.actor, move |conn| {
        Ok((Found::load(conn, service, &sought)?, Event::read("protocol.text").with("protocol", sought)))
    })
    .await?;
    let (protocol, edits) = match &found {
        Found::Shipped(protocol) => ((*protocol).clone(), None),
        Found::Own(_, versions) => {
            let number = which.0.version;
            let chosen = versions.iter().find(|v| number.is_none_or(|n| n == v.number)).ok_or(AppError::NotFound)?;
            let edits = (chosen.is_draft() && signed.may(Permission::EditProtocols)).then_some(chosen.version);
            (chosen.protocol()?, edits)
        }
    };
    page(StatusCode::OK, &text_page(&signed, &code, &protocol.title, &protocol.to_toml(), edits, None))
}

/// `POST /protocols/{code}/text`
pub async fn text(state: web::Data<State>, signed: Signed, path: PathOf<String>, form: Posted<TextForm>) -> Answer {
    let (own, draft, _) = load_draft(&state, &signed, path.into_inner(), "protocol.text").await?;
    let form = form.0;
    let title = draft.protocol()?.title;
    let file = format!("{}.toml", own.code);
    match Protocol::from_toml(&file, &form.text.replace("\r\n", "\n")) {
        Err(faults) => page(
            StatusCode::UNPROCESSABLE_ENTITY,
            &text_page(&signed, &own.code, &title, &form.text, Some(form.version), Some(&faults)),
        ),
        Ok(protocol) => {
            let to = format!("/protocols/{}?version={}", own.code, draft.number);
            // A service's own is local, whatever the text says: nobody else has published it.
            let protocol = Protocol { standing: Standing::Local, ..protocol };
            state.db.write(&signed.actor, move |tx| keep(tx, &own, &draft, form.version, &protocol)).await?;
            Ok(see_other(to))
        }
    }
}

/// `GET /protocols/{code}/compare`
pub async fn compare_versions(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<String>,
    which: QueryOf<Which>,
) -> Answer {
    let (code, service) = (path.into_inner(), signed.service.id);
    let sought = code.clone();
    let found = view(&state.db, &signed.actor, move |conn| {
        Ok((Found::load(conn, service, &sought)?, Event::read("protocol.compare").with("protocol", sought)))
    })
    .await?;
    let Found::Own(_, versions) = found else { return Err(AppError::NotFound) };
    let newest = versions.first().map_or(1, |v| v.number);
    let to = which.0.to.unwrap_or(newest);
    let from = which.0.from.unwrap_or((to - 1).max(1));
    let find = |number: i32| versions.iter().find(|v| v.number == number).ok_or(AppError::NotFound);
    let (before, after) = (find(from)?.protocol()?, find(to)?.protocol()?);
    let said = compare(&before, &after);
    let shown = ComparePage {
        shell: signed.shell(format!("Version {from} and version {to}"), "/protocols"),
        heading: format!("{}: version {from} and version {to}", after.title),
        code,
        said,
    };
    page(StatusCode::OK, &shown)
}
