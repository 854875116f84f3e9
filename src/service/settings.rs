//! The facts of the service: name, telephone, nation, clinic hours. What a change does stands beside each field.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{Duration, NaiveTime};
use serde::Deserialize;

use super::pages::{ChosenView, FactsForm, FactsPage, SiteView};
use super::{choices, steps, welcome};
use crate::access::places::{self, Site};
use crate::access::setup::{self, Step};
use crate::access::store::{Service, say, service};
use crate::audit::{Event, append, view};
use crate::db::StoreError;
use crate::display;
use crate::follow_up::offered::{self, Offered};
use crate::follow_up::rules::Nation;
use crate::web::form_view::{Choice, ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, Permission, Posted, Signed, State, page, see_other};

/// Longest name of a service or a site, in characters: it has to fit the head of a print.
pub const LONGEST_NAME: usize = 80;
/// Bounds of a slot in minutes, as the database holds them too.
const SLOT: std::ops::RangeInclusive<i32> = 5..=240;

/// What the form sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ServiceForm {
    version: i32,
    name: String,
    phone: String,
    nation: String,
    opens: String,
    closes: String,
    slot: String,
}

/// What is wrong: field and words.
pub type Wrong = Vec<(String, String)>;

/// A time of the day as people write it: "9:00", "09.00", "9".
fn time(typed: &str) -> Option<NaiveTime> {
    let typed = typed.trim().replace('.', ":");
    let (hour, minute) = typed.split_once(':').unwrap_or((&typed, "0"));
    let digits = |part: &str| !part.is_empty() && part.len() <= 2 && part.bytes().all(|b| b.is_ascii_digit());
    if !digits(hour) || !digits(minute) {
        return None;
    }
    NaiveTime::from_hms_opt(hour.parse().ok()?, minute.parse().ok()?, 0)
}

impl ServiceForm {
    fn of(service: &Service) -> Self {
        Self {
            version: service.version,
            name: service.name.clone(),
            phone: service.phone.clone().unwrap_or_default(),
            nation: service.nation.clone(),
            opens: service.clinic_opens.clone(),
            closes: service.clinic_closes.clone(),
            slot: service.slot_minutes.to_string(),
        }
    }

    /// Puts what the form says on the service, or says everything that is wrong.
    fn put_on(&self, service: &mut Service) -> Result<(), Wrong> {
        let mut wrong = Wrong::new();
        let mut say = |field: &str, text: &str| wrong.push((field.to_owned(), text.to_owned()));
        let name = self.name.split_whitespace().collect::<Vec<_>>().join(" ");
        match name.chars().count() {
            0 => say("name", "Enter the name of the service as it should be printed"),
            n if n > LONGEST_NAME => say("name", "Shorten the name to 80 characters"),
            _ => (),
        }
        if self.phone.chars().count() > 40 {
            say("phone", "Shorten the telephone number to 40 characters");
        }
        if Nation::from_code(&self.nation).is_none() {
            say("nation", "Choose the nation whose bank holidays you keep");
        }
        let (opens, closes) = (time(&self.opens), time(&self.closes));
        if opens.is_none() {
            say("opens", "Enter when the first slot begins, for example 09:00");
        }
        if closes.is_none() {
            say("closes", "Enter when the last slot ends, for example 12:30");
        }
        let slot = self.slot.trim().parse::<i32>().ok().filter(|n| SLOT.contains(n));
        if slot.is_none() {
            say("slot", "Enter a whole number of minutes from 5 to 240");
        }
        if let (Some(opens), Some(closes), Some(slot)) = (opens, closes, slot)
            && closes - opens < Duration::minutes(i64::from(slot))
        {
            say("closes", "The clinic must end at least one slot after it begins: check both times and the slot");
        }
        if let (Some(opens), Some(closes), Some(slot), true) = (opens, closes, slot, wrong.is_empty()) {
            service.version = self.version;
            service.name = name;
            service.phone = Some(self.phone.trim().to_owned()).filter(|phone| !phone.is_empty());
            service.nation.clone_from(&self.nation);
            service.clinic_opens = opens.format("%H:%M").to_string();
            service.clinic_closes = closes.format("%H:%M").to_string();
            service.slot_minutes = slot;
            return Ok(());
        }
        Err(wrong)
    }

    fn fields(&self, wrong: &Wrong) -> FactsForm {
        let error = |name: &str| wrong.iter().find(|(field, _)| field == name).map(|(_, text)| text.clone());
        let field = |name: &str, label: &str, value: &str| Field::new(name, label).value(value).error(error(name));
        let nations = choices::NATIONS.iter().map(|(code, words)| Choice::new(*code, *words)).collect();
        FactsForm {
            version: self.version.to_string(),
            name: field("name", "Name of the service", &self.name)
                .width(Width::Full)
                .hint("On every page and print from now on. Prints made already keep the old one."),
            phone: field("phone", "Telephone number", &self.phone)
                .optional()
                .hint("On prints for patients and GP practices, and at the foot of every page."),
            nation: (
                Field::new("nation", "Nation")
                    .hint(
                        "Decides the bank holidays. Reviews planned already move to working days of the nation with the \
                         daily run, by tomorrow; a booked one never moves.",
                    )
                    .error(error("nation")),
                Choice::choose(nations, &self.nation),
            ),
            opens: field("opens", "First slot begins", &self.opens).width(Width::Short),
            closes: field("closes", "Last slot ends", &self.closes).width(Width::Short),
            slot: field("slot", "Length of a slot", &self.slot).unit("minutes").width(Width::Short),
        }
    }
}

/// Everything the page of the service shows.
pub struct Loaded {
    of: Service,
    sites: Vec<Site>,
    protocols: Vec<Offered>,
    setup: String,
}

/// Reads it, and logs that it was seen.
pub async fn load(state: &State, signed: &Signed) -> Result<Loaded, AppError> {
    let id = signed.service.id;
    Ok(view(&state.db, &signed.actor, move |conn| {
        let loaded = Loaded {
            of: service(conn, id)?,
            sites: places::of_service(conn, id)?,
            protocols: offered::protocols(conn, id)?,
            setup: steps::words(&welcome::known(conn, id)?),
        };
        Ok((loaded, Event::read("service.facts")))
    })
    .await?)
}

/// What was typed into the forms of the page, where something is wrong with it.
#[derive(Default)]
pub struct Typed {
    /// The facts.
    pub facts: Option<ServiceForm>,
    /// A site's name: `new_site` or `site-` and its id, and what was typed.
    pub site: Option<(String, String)>,
    /// What is wrong.
    pub wrong: Wrong,
}

/// The page of the service.
pub fn build(signed: &Signed, loaded: &Loaded, typed: &Typed) -> FactsPage {
    let may = signed.may(Permission::EditService);
    let of = &loaded.of;
    let form = typed.facts.clone().unwrap_or_else(|| ServiceForm::of(of)).fields(&typed.wrong);
    let site_field = |id: String, label: &str, kept: &str| {
        let value = typed.site.as_ref().filter(|(of, _)| *of == id).map_or(kept, |(_, value)| value);
        let error = typed.wrong.iter().find(|(field, _)| *field == id).map(|(_, text)| text.clone());
        Field::new("name", label).id(id).value(value).width(Width::Full).error(error)
    };
    let sites: Vec<SiteView> = loaded
        .sites
        .iter()
        .map(|site| SiteView {
            id: site.id.to_string(),
            name: site.name.clone(),
            state: site.closed_at.map_or_else(
                || "Open".to_owned(),
                |at| {
                    format!("Closed since {}", display::short_date(at.at().with_timezone(&chrono::Local).date_naive()))
                },
            ),
            kind: if site.closed_at.is_none() { "good" } else { "plain" },
            open: site.closed_at.is_none(),
            field: site_field(format!("site-{}", site.id), &format!("Name of {}", site.name), &site.name),
        })
        .collect();
    let new_site = site_field("new_site".to_owned(), "Another site", "");
    let mut errors = ErrorSummary::none();
    for field in [&form.name, &form.phone, &form.nation.0, &form.opens, &form.closes, &form.slot, &new_site] {
        errors.take(field);
    }
    for site in &sites {
        errors.take(&site.field);
    }
    FactsPage {
        shell: signed.shell(if errors.is_empty() { "Service" } else { "Error: Service" }, "/service"),
        errors,
        setup: loaded.setup.clone(),
        facts: vec![
            ("Name", of.name.clone()),
            ("Phone", of.phone.clone().unwrap_or_else(|| "Not recorded".to_owned())),
            ("Nation", choices::nation_words(&of.nation).to_owned()),
            ("Clinic", format!("{} to {}, slots of {} minutes", of.clinic_opens, of.clinic_closes, of.slot_minutes)),
        ],
        form: may.then_some(form),
        sites,
        new_site,
        chosen: vec![
            ("Protocols", "/service/protocols", choices::protocols_in_use(of, &loaded.protocols)),
            ("Skin bands", "/service/bands", vec![choices::bands_in_use(of)]),
            ("Quantities", "/quantities", vec![choices::quantities_in_use(of)]),
            (
                "Closures",
                "/closures",
                vec![ChosenView::plain("", "Days on which you hold no clinic, besides bank holidays.")],
            ),
        ]
        .into_iter()
        .filter(|(_, href, _)| href.starts_with("/service") || signed.may(Permission::SeeReference))
        .collect(),
    }
}

/// `GET /service`
pub async fn form(state: web::Data<State>, signed: Signed) -> Answer {
    let loaded = load(&state, &signed).await?;
    page(StatusCode::OK, &build(&signed, &loaded, &Typed::default()))
}

/// `POST /service`
pub async fn save(state: web::Data<State>, signed: Signed, form: Posted<ServiceForm>) -> Answer {
    let form = form.0;
    let loaded = load(&state, &signed).await?;
    let mut changed = loaded.of.clone();
    if let Err(wrong) = form.put_on(&mut changed) {
        let typed = Typed { facts: Some(form), wrong, site: None };
        return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, &loaded, &typed));
    }
    let id = signed.service.id;
    let what = differences(&loaded.of, &changed);
    let on = state
        .db
        .write(&signed.actor, move |tx| {
            setup::replace(tx, &changed)?;
            setup::settle(tx, Step::Facts)?;
            say(tx, "The facts of the service are saved.")?;
            append(tx, Event::update("service.facts").with("changed", what))?;
            setup::way_on(tx.conn(), id, "/service")
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(on))
}

/// Which facts differ, as codes: the log holds no text that somebody typed.
fn differences(before: &Service, after: &Service) -> String {
    let hours = |s: &Service| (s.clinic_opens.clone(), s.clinic_closes.clone(), s.slot_minutes);
    let changed = [
        ("name", before.name != after.name),
        ("phone", before.phone != after.phone),
        ("nation", before.nation != after.nation),
        ("clinic", hours(before) != hours(after)),
    ];
    let codes: Vec<&str> = changed.into_iter().filter(|(_, differs)| *differs).map(|(code, _)| code).collect();
    if codes.is_empty() { "nothing".to_owned() } else { codes.join("+") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_as_people_write_them_and_nothing_else() {
        let at = |hour, minute| NaiveTime::from_hms_opt(hour, minute, 0);
        for (typed, read) in [("9", at(9, 0)), ("9:05", at(9, 5)), ("09.30", at(9, 30)), (" 12:30 ", at(12, 30))] {
            assert_eq!(time(typed), read, "{typed}");
        }
        for typed in ["", "nine", "24:00", "9:60", "9:5:1", "-1", "9am", "009:00"] {
            assert_eq!(time(typed), None, "{typed}");
        }
    }
}
