//! The service's catalogue of generic items: what is offered when a list is drawn up, and own items added to it.
//!
//! An item is never changed or removed, for signed lists point to it: it is offered or no longer offered.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;
use validator::Validate;

use super::draft_page::{capital, counted};
use super::pages::{CataloguePage, ItemFields, ItemGroup, ItemView};
use super::rules::{Convexity, Coupling, ItemCategory, catalogue};
use super::store::{self, Item};
use crate::access::store as access;
use crate::audit::{Event, Outcome, append, view};
use crate::db::ids::{ItemId, ServiceId};
use crate::db::{Stamp, StoreError};
use crate::once;
use crate::web::form_view::{Choice, ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, PathOf, Permission, Posted, Signed, State, page, see_other};

/// Bounds against typing mistakes (local); the pack's is the database's as well.
const MOST_PACK: i32 = 10_000;
const MOST_CONTENT: i32 = 5_000;
const COUPLING_MM: std::ops::RangeInclusive<i32> = 10..=150;

/// The starter catalogue as items of a service.
pub fn starter_items(service: ServiceId, now: Stamp) -> Vec<Item> {
    let positive = |n: Option<u32>| n.and_then(|n| i32::try_from(n).ok());
    let millimetres = |mm: f64| {
        #[expect(clippy::cast_possible_truncation, reason = "couplings of the shipped file are below 150 mm")]
        let whole = mm.round() as i32;
        whole
    };
    catalogue()
        .iter()
        .map(|item| Item {
            id: ItemId::new(),
            service_id: service,
            code: item.code.clone(),
            category: item.category.code().to_owned(),
            name: item.name.clone(),
            size: Some(item.size.clone()).filter(|size| !size.is_empty()),
            pack: i32::try_from(item.pack.get()).unwrap_or(MOST_PACK),
            unit: item.unit.clone(),
            coupling_mm: item.coupling_mm.map(millimetres),
            coupling: item.coupling.map(|coupling| coupling.code().to_owned()),
            convexity: item.convexity.map(|convexity| convexity.code().to_owned()),
            content_g: positive(item.content_g),
            content_ml: positive(item.content_ml),
            precut: item.precut,
            latex: item.latex,
            animal_derived: item.animal_derived,
            source: format!("{} ({})", item.source.source, item.source.standing.words()),
            active: true,
            version: 1,
            created_at: now,
        })
        .collect()
}

/// What the form for an own item sends.
#[derive(Clone, Debug, Default, Deserialize, Validate)]
#[serde(default)]
pub struct ItemForm {
    /// The form's own id: sending it twice makes one item.
    once: String,
    category: String,
    #[validate(length(
        min = 3,
        max = 120,
        message = "Enter the name, the generic name first, in 3 to 120 characters"
    ))]
    name: String,
    #[validate(length(max = 60, message = "Shorten the size to 60 characters"))]
    size: String,
    pack: String,
    #[validate(length(min = 1, max = 30, message = "Enter what one unit is, for example pouch"))]
    unit: String,
    convexity: String,
    precut: String,
    coupling_mm: String,
    coupling: String,
    content_g: String,
    content_ml: String,
    latex: String,
    animal_derived: String,
    #[validate(length(max = 200, message = "Shorten this to 200 characters"))]
    source: String,
}

/// What is wrong: field and words.
type Wrong = Vec<(&'static str, String)>;

/// Yes, no, or to be asked of the maker.
const KNOWN: [(&str, &str); 3] = [("no", "No"), ("yes", "Yes"), ("ask", "To be asked of the maker")];

fn yes_no(typed: &str) -> Option<bool> {
    match typed {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

fn filled(text: &str) -> Option<String> {
    let text = text.trim();
    (!text.is_empty()).then(|| text.to_owned())
}

/// "one-piece-closed-pouch-flat": letters and digits of the name, never one that is there already.
fn code_for(name: &str, held: &[Item]) -> String {
    let mut code = String::new();
    for c in name.to_lowercase().chars() {
        if c.is_ascii_alphanumeric() {
            code.push(c);
        } else if !code.is_empty() && !code.ends_with('-') {
            code.push('-');
        }
    }
    let stem = format!("own-{}", code.trim_end_matches('-'));
    let free = |code: &String| !held.iter().any(|item| item.code == *code);
    let numbered = (2..).map(|n| format!("{stem}-{n}"));
    std::iter::once(stem.clone()).chain(numbered).find(free).unwrap_or(stem)
}

impl ItemForm {
    /// Reads the form: an item, or everything that is wrong, in the order of the page.
    fn read(&self, service: ServiceId, held: &[Item], by: &str, now: Stamp) -> Result<Item, Wrong> {
        let mut wrong = Wrong::new();
        let checked = self.validate().err();
        let message = |name: &str| {
            let found = checked.as_ref()?.field_errors();
            Some(found.get(name)?.first()?.message.as_ref()?.to_string())
        };
        let whole = |typed: &str, bounds: std::ops::RangeInclusive<i32>| match typed.trim() {
            "" => Ok(None),
            typed => typed.parse::<i32>().ok().filter(|n| bounds.contains(n)).map(Some).ok_or(()),
        };
        let category = ItemCategory::from_code(&self.category);
        if category.is_none() {
            wrong.push(("category", "Choose what kind of item it is".to_owned()));
        }
        wrong.extend(message("name").map(|text| ("name", text)));
        wrong.extend(message("size").map(|text| ("size", text)));
        let pack = whole(&self.pack, 1..=MOST_PACK);
        if !matches!(pack, Ok(Some(_))) {
            wrong.push(("pack", "Enter how many units are in a pack, a whole number from 1".to_owned()));
        }
        wrong.extend(message("unit").map(|text| ("unit", text)));
        let has_plate = category.is_some_and(ItemCategory::has_plate);
        let shape = filled(&self.convexity);
        if shape.as_deref().is_some_and(|code| Convexity::from_code(code).is_none()) || (has_plate && shape.is_none()) {
            wrong.push(("convexity", "Choose the shape of the plate".to_owned()));
        }
        if has_plate && yes_no(&self.precut).is_none() {
            wrong.push(("precut", "Choose whether the opening is cut by the maker".to_owned()));
        }
        let coupling_mm = whole(&self.coupling_mm, COUPLING_MM);
        if coupling_mm.is_err() {
            let (least, most) = (COUPLING_MM.start(), COUPLING_MM.end());
            wrong.push((
                "coupling_mm",
                format!("Enter the coupling in whole millimetres from {least} to {most}, or leave it empty"),
            ));
        }
        let coupling = filled(&self.coupling);
        if coupling.as_deref().is_some_and(|code| Coupling::from_code(code).is_none()) {
            wrong.push(("coupling", "Choose the kind of coupling".to_owned()));
        }
        let content_g = whole(&self.content_g, 1..=MOST_CONTENT);
        let content_ml = whole(&self.content_ml, 1..=MOST_CONTENT);
        for (name, read) in [("content_g", &content_g), ("content_ml", &content_ml)] {
            if read.is_err() {
                wrong.push((name, format!("Enter a whole number up to {MOST_CONTENT}, or leave it empty")));
            }
        }
        for (name, typed) in [("latex", &self.latex), ("animal_derived", &self.animal_derived)] {
            if !KNOWN.iter().any(|(code, _)| code == typed) {
                wrong.push((name, "Choose one; “To be asked of the maker” is an answer".to_owned()));
            }
        }
        wrong.extend(message("source").map(|text| ("source", text)));
        let pack = pack.ok().flatten().unwrap_or(1);
        let same = |item: &&Item| {
            item.name.eq_ignore_ascii_case(self.name.trim()) && item.size == filled(&self.size) && item.pack == pack
        };
        if let Some(item) = held.iter().find(same) {
            let state = if item.active { "" } else { ", no longer offered: offer it again instead" };
            wrong.push(("name", format!("{} in this size and pack is in the catalogue already{state}", item.name)));
        }
        let Some(category) = category.filter(|_| wrong.is_empty()) else { return Err(wrong) };
        Ok(Item {
            id: ItemId::new(),
            service_id: service,
            code: code_for(self.name.trim(), held),
            category: category.code().to_owned(),
            name: self.name.trim().to_owned(),
            size: filled(&self.size),
            pack,
            unit: self.unit.trim().to_lowercase(),
            coupling_mm: coupling_mm.ok().flatten(),
            coupling,
            convexity: shape,
            content_g: content_g.ok().flatten(),
            content_ml: content_ml.ok().flatten(),
            precut: if has_plate { yes_no(&self.precut) } else { None },
            latex: yes_no(&self.latex),
            animal_derived: yes_no(&self.animal_derived),
            source: filled(&self.source)
                .map_or_else(|| format!("Local, added by {by}"), |text| format!("{text} (local, added by {by})")),
            active: true,
            version: 1,
            created_at: now,
        })
    }

    fn fields(&self, wrong: &Wrong) -> ItemFields {
        let error = |name: &str| wrong.iter().find(|(n, _)| *n == name).map(|(_, text)| text.clone());
        let field = |name: &str, label: &str, value: &str| Field::new(name, label).value(value).error(error(name));
        let choose = |name: &str, label: &str, value: &str, choices: Vec<Choice>| {
            (Field::new(name, label).error(error(name)), Choice::choose(choices, value))
        };
        let listed =
            |list: &[(&str, &str)]| list.iter().map(|(code, word)| Choice::new(*code, *word)).collect::<Vec<_>>();
        let coded = |codes: Vec<&'static str>, none: &str| {
            let first = std::iter::once(Choice::new("", none));
            first
                .chain(codes.into_iter().map(|code| Choice::new(code, capital(&code.replace('-', " ")))))
                .collect::<Vec<_>>()
        };
        let first = std::iter::once(Choice::new("", "Choose"));
        let categories =
            first.chain(ItemCategory::ALL.iter().map(|c| Choice::new(c.code(), capital(c.words())))).collect();
        let shapes = coded(Convexity::CHOICES.iter().map(|(code, _)| *code).collect(), "No plate");
        let couplings = coded(Coupling::CHOICES.iter().map(|(code, _)| *code).collect(), "None, or not known");
        ItemFields {
            category: choose("category", "Kind of item", &self.category, categories),
            name: field("name", "Name", &self.name)
                .hint("Generic name first, for example One-piece drainable pouch, flat, cut-to-fit")
                .width(Width::Full),
            size: field("size", "Size", &self.size).hint("For example 15–60 mm").optional(),
            pack: field("pack", "Units in a pack", &self.pack).width(Width::Short),
            unit: field("unit", "One unit is a", &self.unit).hint("pouch, flange, can"),
            convexity: choose("convexity", "Shape of the plate", &self.convexity, shapes),
            precut: {
                let (field, choices) = choose("precut", "Opening cut by the maker", &self.precut, listed(&KNOWN[..2]));
                (field.hint("For a flange or a one-piece pouch only"), choices)
            },
            coupling_mm: field("coupling_mm", "Coupling", &self.coupling_mm).unit("mm").width(Width::Short).optional(),
            coupling: choose("coupling", "Kind of coupling", &self.coupling, couplings),
            content_g: field("content_g", "Grams in one unit", &self.content_g)
                .unit("g")
                .width(Width::Short)
                .optional(),
            content_ml: field("content_ml", "Millilitres in one unit", &self.content_ml)
                .unit("mL")
                .width(Width::Short)
                .optional(),
            latex: choose("latex", "Contains latex", &self.latex, listed(&KNOWN)),
            animal_derived: choose(
                "animal_derived",
                "Contains anything of animal origin, as gelatin",
                &self.animal_derived,
                listed(&KNOWN),
            ),
            source: field("source", "Where the pack size comes from", &self.source).width(Width::Full).optional(),
        }
    }
}

fn item_view(item: &Item) -> ItemView {
    let mut attributes: Vec<(String, String)> = Vec::new();
    let mut attribute = |label: &str, value: String| attributes.push((label.to_owned(), value));
    if let Some(size) = item.size.as_ref().filter(|size| !item.name.contains(size.as_str())) {
        attribute("Size", size.clone());
    }
    if let Some(ml) = item.content_ml {
        attribute("Content", format!("{ml} mL"));
    }
    if let Some(g) = item.content_g {
        attribute("Content", format!("{g} g"));
    }
    let said = |known: Option<bool>| match known {
        Some(true) => "yes",
        Some(false) => "no",
        None => "ask the maker",
    };
    attribute("Latex", said(item.latex).to_owned());
    attribute("Animal origin", said(item.animal_derived).to_owned());
    ItemView {
        id: item.id.to_string(),
        name: item.name.clone(),
        pack: counted(item.pack, &item.unit),
        attributes,
        source: item.source.clone(),
        offered: item.active,
    }
}

async fn load(state: &State, signed: &Signed) -> Result<Vec<Item>, AppError> {
    let service = signed.service.id;
    Ok(view(&state.db, &signed.actor, move |conn| {
        Ok((store::items(conn, service, true)?, Event::read("catalogue.list")))
    })
    .await?)
}

fn build(signed: &Signed, items: &[Item], form: &ItemForm, wrong: &Wrong) -> CataloguePage {
    let mut errors = ErrorSummary::none();
    for (name, text) in wrong {
        errors.push(*name, text.clone());
    }
    let groups = ItemCategory::ALL.iter().filter_map(|category| {
        let of: Vec<ItemView> = items.iter().filter(|i| i.category == category.code()).map(item_view).collect();
        (!of.is_empty()).then(|| ItemGroup {
            id: category.code().to_owned(),
            title: capital(category.words()),
            kind: if category.is_accessory() { "accessory: a reason is asked for" } else { "appliance" }.to_owned(),
            items: of,
        })
    });
    let offered = items.iter().filter(|item| item.active).count();
    let title = if errors.is_empty() { "Supplies catalogue" } else { "Error: Supplies catalogue" };
    CataloguePage {
        shell: signed.shell(title, "/catalogue"),
        errors,
        standfirst: format!(
            "{offered} generic items are offered when a list is drawn up. Pack sizes differ between suppliers: check them."
        ),
        groups: groups.collect(),
        form: signed.may(Permission::EditCatalogue).then(|| form.fields(wrong)),
        once: form.once.clone(),
    }
}

/// `GET /catalogue`
pub async fn list(state: web::Data<State>, signed: Signed) -> Answer {
    let items = load(&state, &signed).await?;
    page(
        StatusCode::OK,
        &build(&signed, &items, &ItemForm { once: once::fresh(), ..ItemForm::default() }, &Wrong::new()),
    )
}

/// `POST /catalogue`: an own item.
pub async fn add(state: web::Data<State>, signed: Signed, form: Posted<ItemForm>) -> Answer {
    let form = form.0;
    let (sending, service) = (once::of(&form.once)?, signed.service.id);
    // Before it is read: sent again, its name is taken by itself.
    if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
        return Ok(see_other(answered));
    }
    let items = load(&state, &signed).await?;
    let item = match form.read(signed.service.id, &items, &signed.actor.name, Stamp::new(state.clock.now())) {
        Ok(item) => item,
        Err(wrong) => {
            // What is in the catalogue already may be the same form, written while this one was read.
            if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
                return Ok(see_other(answered));
            }
            return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, &items, &form, &wrong));
        }
    };
    let href = format!("/catalogue#{}", item.category);
    let to = href.clone();
    state
        .db
        .write(&signed.actor, move |tx| {
            if once::claim(tx, sending, &to)?.is_some() {
                let event = Event::create("catalogue.item").outcome(Outcome::Refused).with("why", "sent twice");
                return append(tx, event).map(drop);
            }
            access::say(tx, &format!("{} is in the catalogue.", item.name))?;
            let event = Event::create("catalogue.item").with("item", item.id).with("category", &item.category);
            store::add_items(tx, &[item])?;
            append(tx, event).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(href))
}

/// What the small forms of the list send.
#[derive(Deserialize)]
pub struct Act {
    act: String,
}

/// `POST /catalogue/{id}`: offered, or no longer.
pub async fn act(state: web::Data<State>, signed: Signed, path: PathOf<ItemId>, form: Posted<Act>) -> Answer {
    let (id, service) = (path.into_inner(), signed.service.id);
    let offered = match form.0.act.as_str() {
        "offer" => true,
        "withdraw" => false,
        _ => return Err(AppError::Unreadable("This act is not known. Open the page again.".to_owned())),
    };
    let item = state.db.read(move |conn| store::item(conn, service, id)).await.map_err(|e: StoreError| e)?;
    let href = format!("/catalogue#{}", item.category);
    state
        .db
        .write(&signed.actor, move |tx| {
            store::set_offered(tx, service, id, offered)?;
            let said = if offered { "is offered again" } else { "is no longer offered; lists that have it keep it" };
            access::say(tx, &format!("{} {said}.", item.name))?;
            append(tx, Event::update("catalogue.item").with("item", id).with("offered", offered)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(href))
}
