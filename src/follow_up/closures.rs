//! Working days of the service: the bank holidays that count with their source, and its own closures. A closure is added
//! or taken back only after its effect on the caseload was shown.

use actix_web::http::StatusCode;
use actix_web::web;
use chrono::NaiveDate;
use serde::Deserialize;

use super::calendar::{self, Closure};
use super::caseload::{CaseloadChange, Whom, compare, touch_changed};
use super::pages::{CaseloadView, ClosureView, ClosuresPage, HolidayView, MoveClosurePage};
use super::rules::{Nation, WorkingDays};
use super::world::World;
use crate::access::store::say;
use crate::audit::{Event, append, view};
use crate::db::ids::{ClosureId, ServiceId};
use crate::db::{Conn, StoreError, Tx};
use crate::web::form_view::{ErrorSummary, Field, Width};
use crate::web::{Answer, AppError, PathOf, Permission, Posted, Signed, State, page, see_other};
use crate::{dates_in, display};

/// What the form sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ClosureForm {
    on: String,
    name: String,
    /// The seal of what was shown; empty on the first sending.
    seal: String,
}

struct Loaded {
    closures: Vec<Closure>,
    days: WorkingDays,
    table_of: Option<String>,
}

async fn load(state: &State, signed: &Signed) -> Result<Loaded, AppError> {
    let service = signed.service.id;
    Ok(view(&state.db, &signed.actor, move |conn| {
        let loaded = calendar::loaded_table(conn)?;
        let loaded = Loaded {
            closures: calendar::closures(conn, service)?,
            days: calendar::of_service(conn, service)?,
            table_of: loaded.map(|t| display::short_date(t.loaded_at.at().date_naive())),
        };
        Ok((loaded, Event::read("closures")))
    })
    .await?)
}

fn build(
    signed: &Signed,
    loaded: &Loaded,
    form: &ClosureForm,
    wrong: &[(&str, String)],
    today: NaiveDate,
) -> ClosuresPage {
    let error = |name: &str| wrong.iter().find(|(n, _)| *n == name).map(|(_, words)| words.clone());
    let on = Field::new("on", "Day").value(&form.on).hint("24 Dec 2026").error(error("on"));
    let name =
        Field::new("name", "Why the service is closed").value(&form.name).width(Width::Full).error(error("name"));
    let mut errors = ErrorSummary::none();
    errors.take(&on);
    errors.take(&name);
    let table = loaded.days.table();
    let nation = loaded.days.nation();
    let heading = "Working days and closures";
    ClosuresPage {
        shell: signed
            .shell(if errors.is_empty() { heading.to_owned() } else { format!("Error: {heading}") }, "/protocols"),
        errors,
        nation: nation.words().to_owned(),
        source: table.source.source.to_string(),
        standing: table.source.standing.words().to_owned(),
        made_on: table.loaded.map(display::short_date).unwrap_or_default(),
        loaded_on: loaded.table_of.clone(),
        years: format!("{} to {}", table.first_year, table.last_year),
        ends_soon: table.last_year <= chrono::Datelike::year(&today) + 1,
        holidays: table
            .of(nation)
            .iter()
            .filter(|h| h.on >= today)
            .take(24)
            .map(|h| HolidayView { on: display::weekday_date(h.on), on_iso: h.on.to_string(), name: h.name.clone() })
            .collect(),
        closures: loaded
            .closures
            .iter()
            .map(|c| ClosureView {
                on: display::weekday_date(c.closed_on),
                on_iso: c.closed_on.to_string(),
                name: c.name.clone(),
                remove: (signed.may(Permission::EditService) && c.closed_on >= today)
                    .then(|| format!("/closures/{}/remove", c.id)),
            })
            .collect(),
        form: signed.may(Permission::EditService).then_some((on, name)),
    }
}

/// `GET /closures`
pub async fn list(state: web::Data<State>, signed: Signed) -> Answer {
    let loaded = load(&state, &signed).await?;
    page(StatusCode::OK, &build(&signed, &loaded, &ClosureForm::default(), &[], state.clock.today()))
}

/// The caseload's change when the closures are these.
fn effect(
    conn: &mut Conn,
    service: ServiceId,
    today: NaiveDate,
    closed: impl Fn(&mut Vec<NaiveDate>),
) -> Result<CaseloadChange, StoreError> {
    let world = World::load(conn, service, today)?;
    let mut days: Vec<NaiveDate> = world.days.closures().to_vec();
    closed(&mut days);
    let calendar = WorkingDays::by_table(world.days.nation(), &days, world.days.table().clone());
    compare(conn, &world.with_days(calendar), &Whom::All)
}

/// `POST /closures`: shows the effect, then adds the closure and moves what it moves, in one transaction.
pub async fn add(state: web::Data<State>, signed: Signed, form: Posted<ClosureForm>) -> Answer {
    let (form, today, service) = (form.0, state.clock.today(), signed.service.id);
    let mut wrong = Vec::new();
    let on = match dates_in::read_date(&form.on, today) {
        Ok(on) if on < today => {
            wrong.push(("on", "Enter a day that is still to come: what took place is not moved".to_owned()));
            None
        }
        Ok(on) => Some(on),
        Err(problem) => {
            wrong.push(("on", problem.to_string()));
            None
        }
    };
    let name = form.name.trim().to_owned();
    if !(3..=200).contains(&name.chars().count()) {
        wrong.push(("name", "Write why the service is closed, in 3 to 200 characters".to_owned()));
    }
    let loaded = load(&state, &signed).await?;
    if let Some(on) = on
        && !loaded.days.is_working_day(on)
    {
        wrong.push(("on", format!("{} is no working day as it is", display::weekday_date(on))));
    }
    let Some(on) = on.filter(|_| wrong.is_empty()) else {
        return page(StatusCode::UNPROCESSABLE_ENTITY, &build(&signed, &loaded, &form, &wrong, today));
    };
    let change = seen(&state, &signed, move |conn| effect(conn, service, today, |days| days.push(on))).await?;
    if form.seal != change.seal {
        let hidden = vec![("on".to_owned(), on.to_string()), ("name".to_owned(), name)];
        return page(
            StatusCode::OK,
            &move_page(&signed, on, true, "/closures", hidden, &change, !form.seal.is_empty()),
        );
    }
    state
        .db
        .write(&signed.actor, move |tx| {
            let id = calendar::add_closure(tx, on, &name)?;
            apply(tx, &change, service, today)?;
            say(tx, &format!("The service is closed on {}; reviews follow.", display::weekday_date(on)))?;
            append(tx, Event::create("closure").with("closure", id).with("on", on).about_all(change.changed)).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other("/closures"))
}

/// Works an effect out and logs whose reviews were shown.
async fn seen(
    state: &State,
    signed: &Signed,
    work: impl FnOnce(&mut Conn) -> Result<CaseloadChange, StoreError> + Send + 'static,
) -> Result<CaseloadChange, AppError> {
    // Worked out by a reader, for a caseload takes its time and a view is a write; then logged before it is shown.
    let change = state.db.read(work).await?;
    let event = Event::read("closure.effect").about_all(change.shown.iter().map(|c| c.patient).collect::<Vec<_>>());
    view(&state.db, &signed.actor, move |_| Ok(((), event))).await?;
    Ok(change)
}

/// Works the effect out once more inside the transaction and applies it if it is what was shown.
fn apply(tx: &mut Tx<'_>, shown: &CaseloadChange, service: ServiceId, today: NaiveDate) -> Result<(), StoreError> {
    let world = World::load(tx.conn(), service, today)?;
    let now = compare(tx.conn(), &world, &Whom::All)?;
    if now.seal != shown.seal {
        return Err(StoreError::Stale);
    }
    touch_changed(tx, &now);
    Ok(())
}

fn move_page(
    signed: &Signed,
    on: NaiveDate,
    closes: bool,
    action: &str,
    hidden: Vec<(String, String)>,
    change: &CaseloadChange,
    again: bool,
) -> MoveClosurePage {
    let day = display::weekday_date(on);
    let heading =
        if closes { format!("Close the service on {day}") } else { format!("Open the service on {day} after all") };
    MoveClosurePage {
        shell: signed.shell(heading.clone(), "/protocols"),
        button: heading.clone(),
        heading,
        action: action.to_owned(),
        hidden,
        seal: change.seal.clone(),
        notice: again
            .then(|| "The records changed since this page was made. This is what would change now.".to_owned()),
        change: CaseloadView::of(change),
    }
}

/// `POST /closures/{id}/remove`
pub async fn remove(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<ClosureId>,
    form: Posted<ClosureForm>,
) -> Answer {
    let (id, form, today, service) = (path.into_inner(), form.0, state.clock.today(), signed.service.id);
    let loaded = load(&state, &signed).await?;
    let on = loaded.closures.iter().find(|c| c.id == id).ok_or(AppError::NotFound)?.closed_on;
    if on < today {
        return Err(AppError::Conflict("This day has passed. It stays in the list as it was.".into()));
    }
    let change =
        seen(&state, &signed, move |conn| effect(conn, service, today, |days| days.retain(|d| *d != on))).await?;
    if form.seal != change.seal {
        let action = format!("/closures/{id}/remove");
        return page(
            StatusCode::OK,
            &move_page(&signed, on, false, &action, Vec::new(), &change, !form.seal.is_empty()),
        );
    }
    state
        .db
        .write(&signed.actor, move |tx| {
            calendar::remove_closure(tx, id)?;
            apply(tx, &change, service, today)?;
            say(tx, &format!("The closure of {} is taken back; reviews follow.", display::weekday_date(on)))?;
            append(tx, Event::update("closure").with("closure", id).with("removed", true).about_all(change.changed))
                .map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other("/closures"))
}

/// Used by the command that loads bank holidays: the effect of another table on one service.
pub fn effect_of_table(
    conn: &mut Conn,
    service: ServiceId,
    nation: Nation,
    table: &std::sync::Arc<super::rules::bank_holidays::BankHolidays>,
    today: NaiveDate,
) -> Result<CaseloadChange, StoreError> {
    let world = World::load(conn, service, today)?;
    let calendar = WorkingDays::by_table(nation, world.days.closures(), table.clone());
    compare(conn, &world.with_days(calendar), &Whom::All)
}
