//! The published quantity sets: every figure with its source and standing, and which set the service compares with.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::draft_page::capital;
use super::order::with_year;
use super::pages::{FigureView, QuantitiesPage, SetView};
use super::rules::{Counts, QuantitySet, Rational, Row, SetId, SetPeriod, decimal_words, shipped_set};
use super::store;
use crate::access::setup::{self, Step};
use crate::access::store as access;
use crate::audit::{Event, append, view};
use crate::db::StoreError;
use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::{Answer, AppError, Permission, Posted, Signed, State, page, see_other};

/// What the choice sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Chosen {
    set: String,
}

fn period_words(period: SetPeriod) -> &'static str {
    match period {
        SetPeriod::Month => "a month",
        SetPeriod::SixMonths => "in six months",
        SetPeriod::Year => "a year",
        SetPeriod::PlateChange => "for each change of the plate",
    }
}

fn counts_words(counts: Counts) -> &'static str {
    match counts {
        Counts::Unit => "units",
        Counts::Pack => "packs",
        Counts::Ounce => "ounces",
        Counts::FluidOunce => "fluid ounces",
        Counts::SixteenFluidOunces => "times 16 fluid ounces",
        Counts::SquareInches => "times 18 square inches",
        Counts::MonthAllowance => "a month’s allowance",
    }
}

/// A figure with a comma before the thousands ("1,118", "1,397.5").
fn figure_words(figure: Rational) -> String {
    let words = decimal_words(figure);
    let whole = words.split('.').next().unwrap_or_default().len();
    match words.split_at_checked(whole.saturating_sub(3)) {
        Some((thousands, rest)) if thousands.chars().all(|c| c.is_ascii_digit()) && !thousands.is_empty() => {
            format!("{thousands},{rest}")
        }
        _ => words,
    }
}

fn figure_view(row: &Row) -> FigureView {
    let limits = row.printed;
    let usual = match (limits.low.map(figure_words), limits.high.map(figure_words)) {
        (Some(low), Some(high)) if low == high => low,
        (Some(low), Some(high)) => format!("{low} to {high}"),
        (None, Some(high)) => format!("up to {high}"),
        (Some(low), None) => format!("from {low}"),
        (None, None) => "no figure".to_owned(),
    };
    let beyond = limits.ceiling.filter(|ceiling| Some(*ceiling) != limits.high).map(figure_words);
    let mut only: Vec<String> = row.kinds.iter().map(|kind| kind.code().to_owned()).collect();
    only.extend(row.with_urostomy.then(|| "with a urostomy".to_owned()));
    only.extend(row.convex.map(|convex| if convex { "convex" } else { "flat" }.to_owned()));
    let wear = row.wear.iter().map(|wear| wear.map_or("wear not stated", |wear| wear.code()));
    only.extend(wear.map(|code| code.replace('-', " ")));
    let words = match (&row.words, &row.code) {
        (words, _) if !words.is_empty() => capital(words),
        (_, Some(code)) => format!("Code {code}"),
        _ => "Not described".to_owned(),
    };
    FigureView {
        words,
        code: row.code.clone(),
        only: if only.is_empty() { "any".to_owned() } else { only.join(", ") },
        usual,
        beyond: beyond.map_or_else(|| "–".to_owned(), |top| format!("beyond {top}")),
        per: match row.period {
            Some(period) => format!("{} {}", counts_words(row.counts), period_words(period)),
            None => "–".to_owned(),
        },
        note: row.note.clone(),
        source: with_year(&row.source.source, &row.year),
        standing: row.source.standing.words(),
    }
}

fn set_view(set: &QuantitySet, in_use: &str) -> SetView {
    let mut notes = Vec::new();
    if set.shared_by_purpose {
        notes.push("Items of one purpose have one allowance together.".to_owned());
    }
    notes.extend(set.when_over.as_ref().map(|text| format!("Beyond the figure: {text}")));
    if set.year_days != 365 {
        notes.push(format!("Its year counts {} days.", set.year_days));
    }
    // A code without words is one for which the source states that it publishes no maximum: a list is enough.
    let (told, bare): (Vec<&Row>, Vec<&Row>) = set.rows.iter().partition(|row| !row.words.is_empty());
    let codes: Vec<&str> = bare.iter().filter_map(|row| row.code.as_deref()).collect();
    SetView {
        id: set.id.clone(),
        title: set.title.clone(),
        in_use: set.id == in_use,
        source: with_year(&set.source.source, &set.year),
        standing: set.source.standing.words(),
        notes,
        count: format!("{} rows", told.len()),
        rows: told.into_iter().map(figure_view).collect(),
        without: (!codes.is_empty()).then(|| codes.join(", ")),
    }
}

fn sets() -> impl Iterator<Item = &'static QuantitySet> {
    SetId::CHOICES.iter().filter_map(|(_, id)| shipped_set(*id))
}

fn build(signed: &Signed, in_use: &str, error: Option<&str>) -> QuantitiesPage {
    let choices = sets()
        .map(|set| Choice::new(&set.id, &set.title).hint(set.source.standing.words()).checked(set.id == in_use))
        .collect();
    let field = Field::new("set", "Quantity set of this service").error(error);
    let mut errors = ErrorSummary::none();
    errors.take(&field);
    let title = if errors.is_empty() { "Quantities" } else { "Error: Quantities" };
    let used = sets().find(|set| set.id == in_use).map_or("none of these", |set| set.title.as_str());
    QuantitiesPage {
        shell: signed.shell(title, "/quantities"),
        errors,
        standfirst: format!(
            "{} compares lists with: {used}. Published sets disagree; a verdict is a reason to look again, and refuses nobody anything.",
            signed.service.name
        ),
        sets: sets().map(|set| set_view(set, in_use)).collect(),
        choice: signed.may(Permission::EditService).then_some((field, choices)),
    }
}

async fn seen(state: &State, signed: &Signed) -> Result<String, AppError> {
    let service = signed.service.id;
    Ok(view(&state.db, &signed.actor, move |conn| {
        Ok((access::service(conn, service)?.quantity_set, Event::read("quantities.list")))
    })
    .await?)
}

/// `GET /quantities`
pub async fn list(state: web::Data<State>, signed: Signed) -> Answer {
    let in_use = seen(&state, &signed).await?;
    page(StatusCode::OK, &build(&signed, &in_use, None))
}

/// `POST /quantities`: the set that lists are compared with from now on. Signed lists keep theirs.
pub async fn choose(state: web::Data<State>, signed: Signed, form: Posted<Chosen>) -> Answer {
    let Some(set) = SetId::from_code(&form.0.set).and_then(shipped_set) else {
        let in_use = seen(&state, &signed).await?;
        let page_again = build(&signed, &in_use, Some("Choose one of the sets"));
        return page(StatusCode::UNPROCESSABLE_ENTITY, &page_again);
    };
    let service = signed.service.id;
    let on = state
        .db
        .write(&signed.actor, move |tx| {
            store::choose_quantity_set(tx, service, &set.id)?;
            access::say(
                tx,
                &format!("Lists are compared with “{}” from now on. Signed lists keep their checks.", set.title),
            )?;
            setup::settle(tx, Step::Quantities)?;
            append(tx, Event::update("service.quantity-set").with("set", &set.id))?;
            setup::way_on(tx.conn(), service, "/quantities")
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other(on))
}
