//! Reading a quantity set from TOML, as shipped in `sets/` or as a service has edited it.
//!
//! Refuses whatever could not be compared, so that the comparison itself cannot fail. It knows no shipped set.

use std::collections::BTreeMap;

use num_rational::Ratio;
use serde::Deserialize;

use super::DataError;
use super::items::ItemCategory;
use super::order::{StomaKind, Wear};
use super::quantity::Rational;
use super::sets::{Counts, Limits, QuantitySet, Row, SetPeriod};
use crate::provenance::{Source, Standing};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SetText {
    id: String,
    title: String,
    from: String,
    when_over: Option<String>,
    year_days: Option<i64>,
    #[serde(default)]
    shared_by_purpose: bool,
    sources: BTreeMap<String, SourceText>,
    rows: Vec<RowText>,
    #[serde(default)]
    no_published_maximum: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SourceText {
    source: String,
    year: String,
    standing: Standing,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Figure {
    Whole(i64),
    Text(String),
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields, default)]
struct RowText {
    code: Option<String>,
    words: String,
    items: Vec<String>,
    default_for: Option<Vec<String>>,
    kinds: Vec<String>,
    with_urostomy: bool,
    convex: Option<bool>,
    wear: Vec<String>,
    low: Option<Figure>,
    high: Option<Figure>,
    ceiling: Option<Figure>,
    percent_above: Option<i64>,
    high_exact: Option<Figure>,
    period: Option<String>,
    counts: Option<String>,
    shared: Option<String>,
    from: String,
    note: Option<String>,
}

/// Reads a set from TOML and refuses what could not be compared.
pub fn parse_set(text: &str) -> Result<QuantitySet, DataError> {
    let raw: SetText = toml::from_str(text).map_err(|error| DataError::new("a quantity set", error))?;
    let file = format!("{}.toml", raw.id);
    let fail = |message: String| DataError::new(&file, message);
    let source_of = |key: &str| -> Result<(Source, String), DataError> {
        let found = raw.sources.get(key).ok_or_else(|| fail(format!("there is no source {key}")))?;
        Ok((Source { source: found.source.clone().into(), standing: found.standing }, found.year.clone()))
    };
    let (source, year) = source_of(&raw.from)?;
    let mut rows = Vec::new();
    for row in &raw.rows {
        let (source, year) = source_of(&row.from)?;
        rows.push(read_row(row, source, year).map_err(|message| fail(format!("{}: {message}", row.words)))?);
    }
    for code in &raw.no_published_maximum {
        let bare = RowText { code: Some(code.clone()), ..RowText::default() };
        rows.push(read_row(&bare, source.clone(), year.clone()).map_err(&fail)?);
    }
    let (mut by_item, mut by_code) = (BTreeMap::<_, Vec<usize>>::new(), BTreeMap::new());
    for (index, row) in rows.iter().enumerate() {
        for item in &row.default_for {
            by_item.entry(*item).or_default().push(index);
        }
        if let Some(code) = &row.code
            && by_code.insert(code.clone(), index).is_some()
        {
            return Err(fail(format!("code {code} stands there twice")));
        }
    }
    let year_days = raw.year_days.unwrap_or(365);
    if !(360..=366).contains(&year_days) {
        return Err(fail("year_days must be from 360 to 366".to_owned()));
    }
    Ok(QuantitySet {
        id: raw.id,
        title: raw.title,
        when_over: raw.when_over,
        year_days,
        shared_by_purpose: raw.shared_by_purpose,
        source,
        year,
        rows,
        by_item,
        by_code,
    })
}

fn read_row(row: &RowText, source: Source, year: String) -> Result<Row, String> {
    let figure = |figure: &Option<Figure>| figure.as_ref().map(read_figure).transpose();
    let (low, high) = (figure(&row.low)?, figure(&row.high)?);
    let above = match (high, row.percent_above) {
        (Some(high), Some(percent @ 0..=1_000)) => Some(high * Ratio::new(100 + percent, 100)),
        (_, None) => None,
        _ => return Err("percent_above needs a high and must be from 0 to 1000".to_owned()),
    };
    let ceiling = figure(&row.ceiling)?.or(above);
    let printed = Limits { low, high, ceiling };
    let exact = Limits { high: figure(&row.high_exact)?.or(high), ..printed };
    for (less, more) in [(exact.low, exact.high), (exact.low, exact.ceiling), (exact.high, exact.ceiling)] {
        if let (Some(less), Some(more)) = (less, more)
            && less > more
        {
            return Err("low, high and ceiling must not fall".to_owned());
        }
    }
    let period = row.period.as_deref().map(|code| choice(code, SetPeriod::from_code)).transpose()?;
    if period.is_some() != (low.is_some() || high.is_some()) {
        return Err("a figure needs a period, and a period a figure".to_owned());
    }
    if ceiling.is_some() && high.is_none() {
        return Err("a ceiling needs a high".to_owned());
    }
    let items = choices(&row.items, ItemCategory::from_code)?;
    let default_for = match &row.default_for {
        Some(codes) => choices(codes, ItemCategory::from_code)?,
        // A row without a code is there for its items; one with a code only for a line that names it.
        None if row.code.is_none() => items.clone(),
        None => Vec::new(),
    };
    if default_for.iter().any(|item| !items.contains(item)) {
        return Err("default_for names an item that is not among items".to_owned());
    }
    Ok(Row {
        code: row.code.clone(),
        words: row.words.clone(),
        items,
        default_for,
        kinds: choices(&row.kinds, StomaKind::from_code)?,
        with_urostomy: row.with_urostomy,
        convex: row.convex,
        wear: choices(&row.wear, |code| if code == "unstated" { Some(None) } else { Wear::from_code(code).map(Some) })?,
        printed,
        exact,
        period,
        counts: row.counts.as_deref().map_or(Ok(Counts::Unit), |code| choice(code, Counts::from_code))?,
        shared: row.shared.clone(),
        source,
        year,
        note: row.note.clone(),
    })
}

fn choice<T>(code: &str, read: impl Fn(&str) -> Option<T>) -> Result<T, String> {
    read(code).ok_or_else(|| format!("{code} is not known"))
}

fn choices<T>(codes: &[String], read: impl Fn(&str) -> Option<T>) -> Result<Vec<T>, String> {
    codes.iter().map(|code| choice(code, &read)).collect()
}

/// A whole number, or a fraction as `30/7`; above 0 and small enough that no comparison can overflow.
fn read_figure(figure: &Figure) -> Result<Rational, String> {
    let (top, bottom) = match figure {
        Figure::Whole(whole) => (*whole, 1),
        Figure::Text(text) => text
            .split_once('/')
            .and_then(|(top, bottom)| Some((top.parse().ok()?, bottom.parse().ok()?)))
            .ok_or_else(|| format!("{text} is neither a whole number nor a fraction like 30/7"))?,
    };
    if (1..=1_000_000).contains(&top) && (1..=1_000).contains(&bottom) {
        Ok(Ratio::new(top, bottom))
    } else {
        Err("a figure must be above 0 and at most 1000000".to_owned())
    }
}
