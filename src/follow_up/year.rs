//! The year ahead: planned reviews of each week by site and mode against slots, as picture and table; "what if" with
//! another protocol or other numbers of slots, without writing anything.

use std::collections::BTreeMap;
use std::sync::Arc;

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::{Duration, NaiveDate};
use serde::Deserialize;

use super::demand::{self, Demand, Place, WEEKS};
use super::pages::{PlaceView, WeekLine, YearPage};
use super::rules::{Mode, Protocol, WorkingDays, shipped_by_id};
use super::world::World;
use super::{offered, protocols, slots};
use crate::access::store::say;
use crate::audit::{Event, append, view};
use crate::db::ids::{ServiceId, SiteId};
use crate::db::{Conn, StoreError};
use crate::display;
use crate::web::chart::{Chart, Draw, Plot, Reading, Scale, Series, TimeAxis};
use crate::web::form_view::{Choice, ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, Permission, Posted, QueryOf, Signed, State, page, see_other};

/// Modes that always have a row; others when there is demand or a number for them.
const USUAL: [&str; 3] = ["clinic", "phone", "home"];
/// Most slots of a week, as the database holds them.
const MOST_SLOTS: u32 = 10_000;

/// What the page is asked.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// The protocol that is followed now …
    followed: String,
    /// … and the one that would be: an id, or `ID:draft`.
    instead: String,
    /// `SITE|MODE` of each number.
    place: Vec<String>,
    /// The numbers as typed.
    slots: Vec<String>,
}

fn place_of(text: &str) -> Option<Place> {
    let (site, mode) = text.split_once('|')?;
    let mode = Mode::from_code(mode)?.code().to_owned();
    let site = if site.is_empty() { None } else { Some(site.parse().ok()?) };
    Some((site, mode))
}

fn code_of(place: &Place) -> String {
    format!("{}|{}", place.0.map(|id| id.to_string()).unwrap_or_default(), place.1)
}

type Numbers = BTreeMap<Place, u32>;

/// The numbers of the form; what is wrong by place.
fn read_numbers(asked: &Asked) -> (Numbers, Vec<(String, String)>) {
    let (mut numbers, mut wrong) = (Numbers::new(), Vec::new());
    for (at, (place, typed)) in asked.place.iter().zip(&asked.slots).enumerate() {
        let Some(place) = place_of(place) else { continue };
        match typed.trim() {
            "" => {}
            typed => match typed.parse::<u32>().ok().filter(|n| *n <= MOST_SLOTS) {
                Some(n) => drop(numbers.insert(place, n)),
                None => {
                    wrong.push((format!("slots-{at}"), "Enter a whole number of slots, or leave it empty".to_owned()));
                }
            },
        }
    }
    (numbers, wrong)
}

struct Facts {
    sites: Vec<(SiteId, String)>,
    kept: Numbers,
    days: WorkingDays,
    now: Demand,
    what_if: Option<Demand>,
    choices: Vec<(String, String)>,
    instead_of: Vec<(String, String)>,
}

/// A protocol that others might follow: by id, or a draft.
fn instead(conn: &mut Conn, service: ServiceId, code: &str, today: NaiveDate) -> Result<Protocol, StoreError> {
    let (id, draft) = code.strip_suffix(":draft").map_or((code, false), |id| (id, true));
    if let Some(shipped) = shipped_by_id(id) {
        return Ok(shipped.clone());
    }
    let own = protocols::find(conn, service, id)?;
    let versions = protocols::versions(conn, service, own.id)?;
    let chosen = if draft {
        versions.iter().find(|v| v.is_draft())
    } else {
        protocols::counting(&versions, today).or(versions.iter().find(|v| !v.is_draft()))
    };
    chosen.ok_or(StoreError::NotFound)?.protocol()
}

fn load(conn: &mut Conn, service: ServiceId, today: NaiveDate, asked: &Asked) -> Result<Facts, StoreError> {
    let world = World::load(conn, service, today)?;
    let now = demand::as_planned(conn, service, today)?;
    let what_if = if asked.followed.is_empty() || asked.instead.is_empty() {
        None
    } else {
        let other = Arc::new(instead(conn, service, &asked.instead, today)?);
        Some(demand::what_if(conn, &world, &asked.followed, other, &now)?)
    };
    let choices: Vec<(String, String)> =
        offered::protocols(conn, service)?.into_iter().map(|o| (o.id.clone(), o.words())).collect();
    let mut instead_of = Vec::new();
    for own in protocols::own(conn, service)? {
        for draft in protocols::versions(conn, service, own.id)?.iter().filter(|v| v.is_draft()) {
            let title = draft.protocol()?.title;
            instead_of.push((format!("{}:draft", own.code), format!("{title} (draft of version {})", draft.number)));
        }
    }
    instead_of.extend(choices.iter().cloned());
    let kept = slots::of_service(conn, service)?
        .into_iter()
        .map(|row| ((row.site_id, row.mode), u32::try_from(row.slots).unwrap_or(0)))
        .collect();
    Ok(Facts { sites: slots::sites(conn, service)?, kept, days: world.days, now, what_if, choices, instead_of })
}

/// `GET /follow-up/year`
pub async fn year(state: web::Data<State>, signed: Signed, asked: QueryOf<Asked>) -> Answer {
    let (asked, service, today) = (asked.0, signed.service.id, state.clock.today());
    let (numbers, wrong) = read_numbers(&asked);
    let sought = asked.clone();
    // Worked out by a reader: over a caseload it takes its time, and a view is a write. The page names no patient.
    let facts = state.db.read(move |conn| load(conn, service, today, &sought)).await?;
    view(&state.db, &signed.actor, |_| Ok(((), Event::read("follow-up.year")))).await?;
    let status = if wrong.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    page(status, &build(&signed, &facts, &asked, &numbers, &wrong, today))
}

/// Places with a row: the usual modes of every site, and whatever has demand or a number.
fn places(facts: &Facts, numbers: &Numbers) -> Vec<Place> {
    let mut all: Vec<Place> = Vec::new();
    let sites: Vec<Option<SiteId>> = match facts.sites.as_slice() {
        [] => vec![None],
        sites => sites.iter().map(|(id, _)| Some(*id)).collect(),
    };
    all.extend(sites.into_iter().flat_map(|site| USUAL.map(|mode| (site, mode.to_owned()))));
    let demanded = facts.now.weeks.keys().chain(facts.what_if.iter().flat_map(|d| d.weeks.keys()));
    for place in demanded.chain(facts.kept.keys()).chain(numbers.keys()) {
        if !all.contains(place) {
            all.push(place.clone());
        }
    }
    let rank = |place: &Place| {
        let site = facts.sites.iter().position(|(id, _)| Some(*id) == place.0).unwrap_or(usize::MAX);
        (site, Mode::ALL.iter().position(|(code, _)| *code == place.1))
    };
    all.sort_by_key(rank);
    all
}

fn build(
    signed: &Signed,
    facts: &Facts,
    asked: &Asked,
    numbers: &Numbers,
    wrong: &[(String, String)],
    today: NaiveDate,
) -> YearPage {
    let monday = demand::monday(today);
    let tried = !asked.place.is_empty();
    let usual = if tried { numbers } else { &facts.kept };
    let places = places(facts, numbers);
    let shown = facts.what_if.as_ref().unwrap_or(&facts.now);
    let site_name = |place: &Place| match place.0 {
        Some(id) => facts.sites.iter().find(|(s, _)| *s == id).map_or("Another site", |(_, name)| name.as_str()),
        None if facts.sites.is_empty() => "All",
        None => "No site set",
    };
    let mut charts = Vec::new();
    let mut views = Vec::new();
    let (mut columns, mut with_column) = (Vec::new(), Vec::new());
    for (at, place) in places.iter().enumerate() {
        let name = format!("{}, {}", site_name(place), place.1);
        let slots = usual.get(place).copied();
        let counts = |of: &Demand| of.weeks.get(place).cloned().unwrap_or_else(|| vec![0; WEEKS]);
        let (now, then) = (counts(&facts.now), facts.what_if.as_ref().map(counts));
        let of_week: Vec<Option<u32>> = (0..WEEKS)
            .map(|week| slots.map(|n| demand::slots_of_week(n, &facts.days, week_start(monday, week))))
            .collect();
        let planned = then.as_ref().unwrap_or(&now);
        let over = planned.iter().zip(&of_week).filter(|(n, room)| room.is_some_and(|room| **n > room)).count();
        let total: u32 = planned.iter().sum();
        let demanded = total > 0 || now.iter().any(|n| *n > 0);
        if demanded || slots.is_some() {
            columns.push(name.clone());
            with_column.push(place.clone());
        }
        if demanded {
            charts.push(chart(at, &name, monday, &now, then.as_deref(), slots.map(|_| of_week.as_slice())));
        }
        let error = wrong.iter().find(|(id, _)| *id == format!("slots-{at}")).map(|(_, words)| words.clone());
        let typed = asked.slots.get(at).filter(|_| tried).cloned();
        views.push(PlaceView {
            code: code_of(place),
            slots: Field::new("slots", format!("Slots a week: {name}"))
                .id(format!("slots-{at}"))
                .value(typed.unwrap_or_else(|| slots.map(|n| n.to_string()).unwrap_or_default()))
                .width(Width::Short)
                .optional()
                .error(error),
            total: total.to_string(),
            before: then.as_ref().map(|_| now.iter().sum::<u32>().to_string()),
            over: match (slots, over) {
                (None, _) => "no slots set".to_owned(),
                (Some(_), 0) => "never".to_owned(),
                (Some(_), n) => format!("in {}", display::counted(n, "week")),
            },
            name,
        });
    }
    let mut errors = ErrorSummary::none();
    for (id, words) in wrong {
        errors.push(id.clone(), words.clone());
    }
    let select = |name: &str, label: &str, list: &[(String, String)], chosen: &str| {
        let first = Choice::new("", "Nothing else");
        let choices = std::iter::once(first).chain(list.iter().map(|(id, words)| Choice::new(id, words)));
        (Field::new(name, label), Choice::choose(choices.collect(), chosen))
    };
    let heading = "The year ahead";
    YearPage {
        shell: signed
            .shell(if errors.is_empty() { heading.to_owned() } else { format!("Error: {heading}") }, "/protocols"),
        errors,
        trying: facts.what_if.is_some() || tried,
        overdue: (shown.overdue > 0).then(|| {
            let n = usize::try_from(shown.overdue).unwrap_or(0);
            format!("The first week holds {} due before it began.", display::counted(n, "review"))
        }),
        followed: select("followed", "Patients who follow", &facts.choices, &asked.followed),
        instead: select("instead", "would follow", &facts.instead_of, &asked.instead),
        keep: signed.may(Permission::EditService) && tried && wrong.is_empty(),
        weeks: (0..WEEKS).map(|week| week_line(facts, shown, usual, &with_column, monday, week)).collect(),
        charts,
        places: views,
        columns,
    }
}

fn week_start(monday: NaiveDate, week: usize) -> NaiveDate {
    monday + Duration::weeks(i64::try_from(week).unwrap_or(0))
}

fn week_line(
    facts: &Facts,
    shown: &Demand,
    usual: &Numbers,
    places: &[Place],
    monday: NaiveDate,
    week: usize,
) -> WeekLine {
    let on = week_start(monday, week);
    let cells = places
        .iter()
        .map(|place| {
            let planned = shown.weeks.get(place).and_then(|w| w.get(week)).copied().unwrap_or(0);
            let room = usual.get(place).map(|n| demand::slots_of_week(*n, &facts.days, on));
            let words = room.map_or_else(|| planned.to_string(), |room| format!("{planned} of {room}"));
            (words, room.is_some_and(|room| planned > room))
        })
        .collect();
    let changed = facts.what_if.as_ref().map(|then| {
        let (before, after) = (i64::from(facts.now.of_week(week)), i64::from(then.of_week(week)));
        format!("{:+}", after - before)
    });
    WeekLine {
        on: display::short_date(on),
        on_iso: on.to_string(),
        number: demand::week_number(on).to_string(),
        total: shown.of_week(week).to_string(),
        changed,
        cells,
    }
}

fn chart(
    at: usize,
    name: &str,
    monday: NaiveDate,
    now: &[u32],
    then: Option<&[u32]>,
    slots: Option<&[Option<u32>]>,
) -> Chart {
    let axis = TimeAxis::dates(monday, week_start(monday, WEEKS - 1));
    let most = now.iter().chain(then.into_iter().flatten()).copied().max().unwrap_or(0);
    let room = slots.into_iter().flatten().filter_map(|n| *n).max().unwrap_or(0);
    let scale = Scale::counts(most.max(room), "reviews a week");
    let readings = |counts: &[u32]| {
        let with_weeks = counts.iter().enumerate();
        with_weeks.map(|(week, n)| Reading::new(week_start(monday, week), Some(f64::from(*n)))).collect::<Vec<_>>()
    };
    let mut plot = Plot::new(format!("place-{at}"), name, axis, scale);
    plot = plot.series(Series::new(if then.is_some() { "As planned" } else { "Reviews" }, Draw::Bars, readings(now)));
    if let Some(then) = then {
        plot = plot.series(Series::new("What if", Draw::Points, readings(then)));
    }
    if let Some(slots) = slots {
        let numbers: Vec<u32> = slots.iter().map(|n| n.unwrap_or(0)).collect();
        plot = plot.series(Series::new("Slots", Draw::Line, readings(&numbers)));
    }
    plot.table_at("weeks").draw()
}

/// `POST /follow-up/year`: keeps the numbers of slots.
pub async fn keep_slots(state: web::Data<State>, signed: Signed, form: Posted<Asked>) -> Answer {
    let (numbers, wrong) = read_numbers(&form.0);
    if !wrong.is_empty() {
        return Err(AppError::Conflict("A number of slots cannot be read. Go back and correct it.".into()));
    }
    let service = signed.service.id;
    state
        .db
        .write(&signed.actor, move |tx| {
            let known = slots::sites(tx.conn(), service)?;
            let rows: Vec<(Option<SiteId>, String, i32)> = numbers
                .into_iter()
                .map(|((site, mode), n)| (site, mode, i32::try_from(n).unwrap_or(i32::MAX)))
                .collect();
            if rows.iter().filter_map(|row| row.0).any(|site| known.iter().all(|(id, _)| *id != site)) {
                return Err(StoreError::NotFound);
            }
            slots::keep(tx, &rows)?;
            say(tx, "The numbers of slots are kept.")?;
            append(tx, Event::update("weekly-slots").with("numbers", rows.len())).map(drop)
        })
        .await?;
    Ok(see_other("/follow-up/year"))
}
