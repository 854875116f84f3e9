//! The summary on paper, for GP and dispenser; the patient's own edition is in `patient_paper`. Dates in the long form.
//! What is not in force says so at the head of every page.

use actix_web::HttpResponse;
use actix_web::http::header;
use actix_web::web;
use chrono::{NaiveDate, NaiveDateTime};
use serde::Deserialize;

use super::draft::{local, state_words};
use super::draft_page::{CheckView, days, item_words, use_words};
use super::patient_paper;
use super::patient_words::language;
use super::store::LineRow;
use super::summary::{Loaded, seen};
use crate::db::StoreError;
use crate::db::ids::PrescriptionId;
use crate::display::long_date;
use crate::patients::identifiers::Scheme;
use crate::print::{self, Block, Column, Document, PAGE_OF, PrintError, TextSize};
use crate::web::{Answer, AppError, PathOf, QueryOf, Signed, State};

/// How the paper is wanted.
#[derive(Deserialize)]
pub struct Wanted {
    /// `large` for the patient's edition, `larger` for the same in large print.
    #[serde(default)]
    pub size: String,
    /// Language of what is for the patient; empty for the usual one.
    #[serde(default)]
    pub language: String,
}

/// The size asked for by name.
pub fn text_size(asked: &str, otherwise: TextSize) -> TextSize {
    match asked {
        "large" => TextSize::ClearPrint,
        "larger" => TextSize::LargePrint,
        _ => otherwise,
    }
}

/// Who prints, when, for whom they work.
pub struct Printing<'a> {
    /// Name of the service.
    pub service: &'a str,
    /// Its phone number.
    pub phone: Option<&'a str>,
    /// A demonstration.
    pub demo: bool,
    /// Band set of the service.
    pub band_set: &'a str,
    /// Who prints.
    pub by: &'a str,
    /// When, where the service is.
    pub at: NaiveDateTime,
    /// How large.
    pub size: TextSize,
}

impl<'a> Printing<'a> {
    /// Somebody signed in prints.
    pub fn of(signed: &'a Signed, at: NaiveDateTime, size: TextSize) -> Self {
        Self {
            service: &signed.service.name,
            phone: signed.service.phone.as_deref(),
            demo: signed.service.demo,
            band_set: &signed.service.band_set,
            by: &signed.actor.name,
            at,
            size,
        }
    }
}

/// Words at the head of every page of what must not be supplied from.
fn mark(loaded: &Loaded, demo: bool) -> Option<String> {
    let state = match loaded.held.status.as_str() {
        "signed" => None,
        "draft" => Some("Draft, not signed. Do not supply from it."),
        "superseded" => Some("Superseded by a later version. Do not supply from it."),
        _ => Some("Stopped. Do not supply from it."),
    };
    let demo = demo.then_some("Demonstration: invented people");
    let words: Vec<&str> = state.into_iter().chain(demo).collect();
    (!words.is_empty()).then(|| words.join(" "))
}

/// "THISTLEWOOD, Marion (Mrs) · Born 23 August 1951 · NHS No. 999 000 0042": two identifiers on every page.
fn identity(loaded: &Loaded) -> String {
    let born = loaded.patient.born_on.map_or_else(|| "not known".to_owned(), long_date);
    let nhs = loaded.identifiers.iter().find(|id| id.scheme() == Scheme::NhsNumber);
    let number = match nhs.or(loaded.identifiers.first()) {
        Some(id) => format!("{} {}", id.scheme().label(), id.display()),
        None => "NHS No. not known".to_owned(),
    };
    format!("{} · Born {born} · {}", loaded.patient.display_name(), number.replace(' ', "\u{a0}"))
}

fn item_cell(row: &LineRow) -> String {
    let mut lines = vec![item_words(&row.name, row.size.as_deref())];
    let mut facts = Vec::new();
    if let Some(mm) = row.aperture_mm {
        facts.push(format!("opening {mm}\u{a0}mm"));
    }
    facts.push(if row.issue == "acute" { "acute, once".to_owned() } else { "repeat".to_owned() });
    if let Some(on) = row.review_on {
        facts.push(format!("to be looked at again by {}", long_date(on)));
    }
    lines.push(facts.join("; "));
    lines.extend(row.reason.as_ref().map(|why| format!("Why: {why}")));
    lines.join("\n")
}

fn supply_table(loaded: &Loaded) -> Block {
    let columns = vec![
        Column::number("Line"),
        Column::text("Item").share(5),
        Column::text("Use").share(2),
        Column::number("Units"),
        Column::text("Packs"),
        Column::text("Lasts"),
    ];
    let row = |row: &LineRow| {
        vec![
            row.position.to_string(),
            item_cell(row),
            use_words(row.use_units, row.use_every_days),
            row.supplied.to_string(),
            format!("{} of\u{a0}{}", row.packs, row.pack),
            days(row.days_supply).replace(' ', "\u{a0}"),
        ]
    };
    Block::Table { caption: String::new(), columns, rows: loaded.lines.iter().map(row).collect() }
}

/// Only what a reader has to act on is printed: refusals, warnings, and quantities outside what is usual.
fn checks(loaded: &Loaded) -> Result<Vec<Block>, StoreError> {
    let worth = |check: &CheckView| matches!(check.kind, "bad" | "mind");
    let found: Vec<CheckView> = loaded.checks()?.into_iter().filter(worth).collect();
    if found.is_empty() {
        return Ok(Vec::new());
    }
    let row = |check: &CheckView| {
        vec![format!("{}: {}", check.word, check.text), format!("{} ({})", check.source, check.standing)]
    };
    let columns = vec![Column::text("What the check found").share(3), Column::text("Source").share(2)];
    Ok(vec![
        Block::Heading(2, "Checked".to_owned()),
        Block::Table { caption: String::new(), columns, rows: found.iter().map(row).collect() },
    ])
}

/// The document of a prescription.
pub fn document(loaded: &Loaded, printing: &Printing<'_>, today: NaiveDate) -> Result<Document, StoreError> {
    let held = &loaded.held;
    let (since, changes) = loaded.changes(long_date);
    let mut blocks = vec![
        Block::Paragraph(format!("{}. {}", state_words(held).1, loaded.state_sentence(long_date))),
        Block::Facts(loaded.facts(long_date, today, printing.band_set)),
        Block::Heading(2, format!("Please supply {}", loaded.period_words())),
        supply_table(loaded),
    ];
    if held.status != "signed" {
        blocks[2] = Block::Heading(2, format!("Items {}", loaded.period_words()));
    }
    if let Some(note) = &held.note {
        blocks.push(Block::Note(note.clone()));
    }
    blocks.push(Block::Heading(2, format!("What changed, {since}")));
    for change in changes {
        blocks.push(Block::Paragraph(format!("{}: {}", change.word, change.text.replace(" → ", ", now "))));
    }
    blocks.extend(checks(loaded)?);
    blocks.push(Block::Heading(2, "Issued by".to_owned()));
    blocks.push(Block::Facts(loaded.issued(long_date)));
    if held.status == "signed" {
        blocks.push(Block::SignatureLines(vec![
            "Signature, where one by hand is asked for".to_owned(),
            "Date".to_owned(),
        ]));
    }
    blocks.push(Block::Paragraph(
        "New or changed items are accepted from the stoma care service only. Do not add samples to the repeat list. \
         Earlier versions no longer hold."
            .to_owned(),
    ));
    let contact = printing.phone.map(|phone| format!(", phone {phone}")).unwrap_or_default();
    let printed = printing.at.format("%H:%M");
    Ok(Document {
        title: "Stoma supplies: summary".to_owned(),
        language: "en-GB".to_owned(),
        identity: identity(loaded),
        footer: format!(
            "{}{contact}. Version {}. Printed by {} on {} at {printed}",
            printing.service,
            held.number,
            printing.by,
            long_date(printing.at.date()),
        ),
        page_of: PAGE_OF.to_owned(),
        mark: mark(loaded, printing.demo),
        created: printing.at,
        size: printing.size,
        blocks,
    })
}

/// `GET /prescriptions/{id}/summary.pdf`
pub async fn pdf(
    state: web::Data<State>,
    signed: Signed,
    path: PathOf<PrescriptionId>,
    wanted: QueryOf<Wanted>,
) -> Answer {
    let id = path.into_inner();
    let loaded = seen(&state, &signed, id, "prescription.pdf").await?;
    let now = state.clock.now().with_timezone(&chrono::Local).naive_local();
    let words = language(&wanted.0.language)?;
    let printing = Printing::of(&signed, now, text_size(&wanted.0.size, TextSize::Usual));
    let document = if printing.size == TextSize::Usual {
        document(&loaded, &printing, state.clock.today())?
    } else {
        patient_paper::document(&loaded, &printing, words)
    };
    // The name of a file ends up in folders and histories: nothing of the patient in it.
    let on = local(loaded.held.signed_at.unwrap_or(loaded.held.drawn_up_at));
    answer(document, &format!("supplies-summary-{}-version-{}", on.format("%Y-%m-%d"), loaded.held.number)).await
}

/// Sets a document and answers with it. `name` goes into the file's name.
pub async fn answer(document: Document, name: &str) -> Answer {
    let bytes = web::block(move || print::render(&document)).await.map_err(|_| AppError::Busy)?.map_err(refused)?;
    Ok(HttpResponse::Ok()
        .content_type("application/pdf")
        .insert_header((header::CONTENT_DISPOSITION, format!("inline; filename=\"{name}.pdf\"")))
        .body(bytes))
}

/// What cannot be printed is said; what the program did wrong is logged.
fn refused(error: PrintError) -> AppError {
    match error {
        PrintError::Missing(_) | PrintError::TooTall(_) => {
            AppError::Unreadable(format!("The PDF was not made: {error}. The page itself can be printed."))
        }
        other => {
            tracing::error!(error = %other, "a paper could not be printed");
            AppError::Unknown
        }
    }
}
