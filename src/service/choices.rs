//! What a service follows: a protocol for each kind of stoma, and its skin bands; each with source and standing.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::pages::{ChoicePage, ChosenView};
use super::store;
use crate::access::setup::{self, Step};
use crate::access::store::{Service, say, service};
use crate::audit::{Event, append, view};
use crate::db::{Conn, StoreError};
use crate::display::counted;
use crate::follow_up::offered::{self, Offered};
use crate::follow_up::rules::StomaKind;
use crate::skin::rules::bands::{self, BandSet};
use crate::supplies::rules::{SetId, shipped_set};
use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::{Answer, AppError, Permission, Posted, Signed, State, page, see_other};

/// Kinds of stoma: code, kind, words of one and of several.
const KINDS: [(&str, StomaKind, &str, &str); 3] = [
    ("colostomy", StomaKind::Colostomy, "Colostomy", "colostomies"),
    ("ileostomy", StomaKind::Ileostomy, "Ileostomy", "ileostomies"),
    ("urostomy", StomaKind::Urostomy, "Urostomy", "urostomies"),
];

/// Nations: code and words.
pub const NATIONS: [(&str, &str); 4] =
    [("england", "England"), ("wales", "Wales"), ("scotland", "Scotland"), ("northern-ireland", "Northern Ireland")];

/// A nation in words.
pub fn nation_words(code: &str) -> &'static str {
    NATIONS.iter().find(|(c, _)| *c == code).map_or("Not known", |(_, words)| words)
}

fn of_protocol(label: &'static str, id: &str, protocols: &[Offered]) -> ChosenView {
    match protocols.iter().find(|p| p.id == id) {
        Some(p) => ChosenView {
            label,
            what: format!("{}, version {}", p.title, p.version),
            source: p.source.clone(),
            standing: p.standing.to_owned(),
        },
        None => ChosenView::plain(label, format!("{id}, which is not offered any more")),
    }
}

/// The protocols in use, one for each kind of stoma.
pub fn protocols_in_use(of: &Service, protocols: &[Offered]) -> Vec<ChosenView> {
    KINDS.iter().map(|(code, _, word, _)| of_protocol(word, offered::usual(of, code), protocols)).collect()
}

/// The quantity set in use.
pub fn quantities_in_use(of: &Service) -> ChosenView {
    match SetId::from_code(&of.quantity_set).and_then(shipped_set) {
        Some(set) => ChosenView {
            label: "",
            what: set.title.clone(),
            source: set.source.source.to_string(),
            standing: set.source.standing.words().to_owned(),
        },
        None => ChosenView::plain("", "None of the sets offered"),
    }
}

/// The skin bands in use.
pub fn bands_in_use(of: &Service) -> ChosenView {
    match bands::set(&of.band_set) {
        Some(set) => ChosenView {
            label: "",
            what: format!("{}: {}", set.title, limits(set)),
            source: set.source.source.to_string(),
            standing: set.source.standing.words().to_owned(),
        },
        None => ChosenView::plain("", "None of the sets offered"),
    }
}

/// "mild 1 to 3, moderate 4 to 6, severe from 7".
fn limits(set: &BandSet) -> String {
    let (mild, moderate) = (set.mild_to, set.moderate_to);
    format!("mild 1 to {mild}, moderate {} to {moderate}, severe from {}", mild + 1, moderate + 1)
}

/// What the form of the protocols sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ProtocolForm {
    version: i32,
    colostomy: String,
    ileostomy: String,
    urostomy: String,
}

impl ProtocolForm {
    fn chosen(&self, code: &str) -> &str {
        match code {
            "colostomy" => &self.colostomy,
            "ileostomy" => &self.ileostomy,
            _ => &self.urostomy,
        }
    }
}

struct Offer {
    of: Service,
    protocols: Vec<Offered>,
    stomas: std::collections::BTreeMap<String, i64>,
    settled: bool,
}

fn load(conn: &mut Conn, signed: &Signed, step: Step) -> Result<Offer, StoreError> {
    let id = signed.service.id;
    Ok(Offer {
        of: service(conn, id)?,
        protocols: offered::protocols(conn, id)?,
        stomas: store::stomas(conn, id)?,
        settled: setup::done(conn, id)?.iter().any(|code| code == step.code()),
    })
}

async fn seen(state: &State, signed: &Signed, step: Step, what: &'static str) -> Result<Offer, AppError> {
    let who = signed.clone();
    Ok(view(&state.db, &signed.actor, move |conn| Ok((load(conn, &who, step)?, Event::read(what)))).await?)
}

/// What a protocol plans for a kind of stoma, where it comes from, and whether it is in use.
fn protocol_hint(protocol: &Offered, steps: &[String], in_use: bool) -> String {
    let used = if in_use { "In use now. " } else { "" };
    let steps = format!("{}: {}", counted(steps.len(), "step"), steps.join("; "));
    format!("{used}{}, {}. {steps}.", protocol.source.trim_end_matches('.'), protocol.standing)
}

fn protocols_page(signed: &Signed, offer: &Offer, form: &ProtocolForm, wrong: &[(&str, String)]) -> ChoicePage {
    let mut errors = ErrorSummary::none();
    let questions = KINDS
        .iter()
        .map(|(code, kind, word, _)| {
            let in_use = offered::usual(&offer.of, code);
            let choices = offer.protocols.iter().filter_map(|p| {
                let hint = protocol_hint(p, p.steps_for(*kind)?, p.id == in_use);
                Some(Choice::new(&p.id, format!("{}, version {}", p.title, p.version)).hint(hint))
            });
            let error = wrong.iter().find(|(field, _)| field == code).map(|(_, text)| text.clone());
            let field = Field::new(*code, *word).error(error);
            errors.take(&field);
            (field, Choice::choose(choices.collect(), form.chosen(code)))
        })
        .collect();
    let count = |code: &str| usize::try_from(offer.stomas.get(code).copied().unwrap_or_default()).unwrap_or_default();
    let recorded: Vec<String> = KINDS
        .iter()
        .map(|(code, _, word, several)| match count(code) {
            1 => format!("1 {}", word.to_lowercase()),
            n => format!("{n} {several}"),
        })
        .collect();
    let title = if errors.is_empty() { "Protocols of the service" } else { "Error: Protocols of the service" };
    ChoicePage {
        shell: signed.shell(title, "/service"),
        errors,
        heading: "Protocols of the service",
        standfirst: "Which protocol plans the reviews of a stoma, unless another is chosen for the patient.".to_owned(),
        effects: vec![
            "From now on: a stoma recorded, or brought in from a spreadsheet, follows the protocol of its kind.".to_owned(),
            format!(
                "Left alone: stomas recorded already ({}) keep the protocol they have, and none of their reviews is added, \
                 moved or closed.",
                recorded.join(", ")
            ),
            "To put one patient on another protocol, open the record and correct the stoma: the reviews of that stoma are \
             then planned anew."
                .to_owned(),
        ],
        action: "/service/protocols",
        version: offer.of.version.to_string(),
        questions,
        button: signed.may(Permission::EditService).then_some("Follow these from now on"),
        see: if signed.may(Permission::SeeReference) {
            vec![("/protocols", "Every protocol with its steps and source")]
        } else {
            Vec::new()
        },
    }
}

/// `GET /service/protocols`. Nothing is chosen before somebody of the service chose.
pub async fn protocols(state: web::Data<State>, signed: Signed) -> Answer {
    let offer = seen(&state, &signed, Step::Protocols, "service.protocols").await?;
    let form = if offer.settled {
        ProtocolForm {
            version: offer.of.version,
            colostomy: offer.of.protocol_colostomy.clone(),
            ileostomy: offer.of.protocol_ileostomy.clone(),
            urostomy: offer.of.protocol_urostomy.clone(),
        }
    } else {
        ProtocolForm::default()
    };
    page(StatusCode::OK, &protocols_page(&signed, &offer, &form, &[]))
}

/// `POST /service/protocols`
pub async fn choose_protocols(state: web::Data<State>, signed: Signed, form: Posted<ProtocolForm>) -> Answer {
    let form = form.0;
    let offer = seen(&state, &signed, Step::Protocols, "service.protocols").await?;
    let fits = |code: &str, kind: StomaKind| {
        offer.protocols.iter().any(|p| p.id == form.chosen(code) && p.steps_for(kind).is_some())
    };
    let wrong: Vec<(&str, String)> = KINDS
        .iter()
        .filter(|(code, kind, ..)| !fits(code, *kind))
        .map(|(code, .., several)| (*code, format!("Choose the protocol for {several}")))
        .collect();
    if !wrong.is_empty() {
        return page(StatusCode::UNPROCESSABLE_ENTITY, &protocols_page(&signed, &offer, &form, &wrong));
    }
    let id = signed.service.id;
    let on = state
        .db
        .write(&signed.actor, move |tx| {
            let changed = Service {
                version: form.version,
                protocol_colostomy: form.colostomy.clone(),
                protocol_ileostomy: form.ileostomy.clone(),
                protocol_urostomy: form.urostomy.clone(),
                ..service(tx.conn(), id)?
            };
            setup::replace(tx, &changed)?;
            setup::settle(tx, Step::Protocols)?;
            say(tx, "Stomas recorded from now on follow these protocols. Those recorded already keep theirs.")?;
            let event = Event::update("service.protocols")
                .with("colostomy", form.colostomy)
                .with("ileostomy", form.ileostomy)
                .with("urostomy", form.urostomy);
            append(tx, event)?;
            setup::way_on(tx.conn(), id, "/service")
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(on))
}

/// What the form of the bands sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct BandForm {
    version: i32,
    set: String,
}

fn bands_page(signed: &Signed, offer: &Offer, chosen: &str, error: Option<&str>) -> ChoicePage {
    let choices = bands::SETS
        .iter()
        .map(|set| {
            let used = if set.id == offer.of.band_set { "In use now. " } else { "" };
            let (source, standing) = (&set.source.source, set.source.standing.words());
            let hint = format!("{used}{}. {}, {standing}.", limits(set), source.trim_end_matches('.'));
            Choice::new(set.id, set.title).hint(hint)
        })
        .collect();
    let field = Field::new("set", "Bands of this service").error(error);
    let mut errors = ErrorSummary::none();
    errors.take(&field);
    let title = if errors.is_empty() { "Skin bands of the service" } else { "Error: Skin bands of the service" };
    ChoicePage {
        shell: signed.shell(title, "/service"),
        errors,
        heading: "Skin bands of the service",
        standfirst: "The score from 0 to 15 is the same everywhere; papers do not agree from which score it is called \
                     severe."
            .to_owned(),
        effects: vec![
            "From now on: the clinic form, and summaries when they are opened or printed, use the words of this set."
                .to_owned(),
            "Left alone: scores, and the band that a signed assessment was given when it was signed.".to_owned(),
        ],
        action: "/service/bands",
        version: offer.of.version.to_string(),
        questions: vec![(field, Choice::choose(choices, chosen))],
        button: signed.may(Permission::EditService).then_some("Use these bands from now on"),
        see: Vec::new(),
    }
}

/// `GET /service/bands`. Nothing is chosen before somebody of the service chose.
pub async fn bands(state: web::Data<State>, signed: Signed) -> Answer {
    let offer = seen(&state, &signed, Step::Bands, "service.bands").await?;
    let chosen = if offer.settled { offer.of.band_set.clone() } else { String::new() };
    page(StatusCode::OK, &bands_page(&signed, &offer, &chosen, None))
}

/// `POST /service/bands`
pub async fn choose_bands(state: web::Data<State>, signed: Signed, form: Posted<BandForm>) -> Answer {
    let form = form.0;
    let Some(set) = bands::set(&form.set) else {
        let offer = seen(&state, &signed, Step::Bands, "service.bands").await?;
        let again = bands_page(&signed, &offer, &form.set, Some("Choose one of the sets"));
        return page(StatusCode::UNPROCESSABLE_ENTITY, &again);
    };
    let id = signed.service.id;
    let on = state
        .db
        .write(&signed.actor, move |tx| {
            let changed = Service { version: form.version, band_set: set.id.to_owned(), ..service(tx.conn(), id)? };
            setup::replace(tx, &changed)?;
            setup::settle(tx, Step::Bands)?;
            say(tx, &format!("Skin scores are put into words by “{}” from now on.", set.title))?;
            append(tx, Event::update("service.bands").with("set", set.id))?;
            setup::way_on(tx.conn(), id, "/service")
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(on))
}
