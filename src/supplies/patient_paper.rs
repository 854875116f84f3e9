//! The patient's edition of a list: the same items and facts in large print and in the words of a message file. What is
//! for GP and dispenser (quantity checks with their sources, rules) is left to the usual edition.

use super::draft::local;
use super::paper::Printing;
use super::patient_words::{foot, identity, item, mark, usage};
use super::store::LineRow;
use super::summary::{Loaded, or_not_recorded};
use crate::display;
use crate::patients::banner::avoid;
use crate::print::{Block, Column, Document};
use crate::words::Language;

/// The document.
pub fn document(loaded: &Loaded, printing: &Printing<'_>, words: &Language) -> Document {
    let held = &loaded.held;
    let signed = held.signed_at.zip(loaded.signed_by.as_ref());
    let state = match (held.status.as_str(), signed) {
        ("signed", Some((at, by))) => words.list_in_force(&words.long_date(local(at)), &by.display_name),
        ("draft", _) => words.list_draft(),
        ("superseded", _) => words.list_superseded(),
        _ => words.list_stopped(),
    };
    let mut blocks = vec![Block::Paragraph(state)];
    if let Some(reason) = &held.stopped_reason {
        blocks.push(Block::Paragraph(words.reason(reason)));
    }
    blocks.extend([
        Block::Heading(2, words.list_items(&held.period_days.to_string())),
        table(&loaded.lines, words),
        Block::Heading(2, words.list_changes()),
        Block::Paragraph(changes(loaded, words).join("\n")),
    ]);
    if let Some(note) = &held.note {
        blocks.extend([Block::Heading(2, words.list_note()), Block::Note(note.clone())]);
    }
    let phone = printing.phone.map(|phone| words.ring_phone(&phone.replace(' ', "\u{a0}")));
    // A day that has gone by tells the patient nothing.
    let next = loaded.next_review.filter(|on| *on >= printing.at.date());
    let next = next.map_or_else(|| words.no_review(), |on| words.long_date(on));
    let dispenser = held.dispenser.as_ref().or(loaded.patient.dispenser.as_ref());
    let by_whom = loaded.signed_by.as_ref().map_or_else(|| words.list_draft(), |by| by.display_name.clone());
    blocks.extend([
        Block::Heading(2, words.list_who()),
        Block::Paragraph(format!("{} {}", words.list_ask(), phone.unwrap_or_else(|| words.ring_no_phone()))),
        Block::Paragraph(words.list_rule()),
        Block::Facts(vec![
            (words.fact_signed(), by_whom),
            (words.fact_dispenser(), or_not_recorded(dispenser)),
            (words.fact_review(), next),
        ]),
        Block::Heading(2, words.list_about()),
        Block::Facts(about(loaded, words)),
    ]);
    Document {
        title: words.list_title(),
        language: words.tag().to_owned(),
        identity: identity(loaded, words),
        footer: foot(loaded, printing, words),
        page_of: words.page_of("{page}", "{pages}"),
        mark: mark(loaded, printing.demo, words),
        created: printing.at,
        size: printing.size,
        blocks,
    }
}

/// Who and which stoma, so that the paper can be shown wherever the patient is.
fn about(loaded: &Loaded, words: &Language) -> Vec<(String, String)> {
    let patient = &loaded.patient;
    let date = |on: Option<_>| on.map_or_else(|| words.not_known(), |on| words.long_date(on));
    let postcode = patient.postcode.as_deref().map(display::postcode).unwrap_or_default();
    let address = [patient.address.clone().unwrap_or_default(), postcode];
    let address = address.iter().filter(|part| !part.is_empty()).cloned().collect::<Vec<_>>().join(", ");
    let mut facts = vec![(words.fact_name(), patient.display_name()), (words.fact_born(), date(patient.born_on))];
    facts.extend(loaded.identifiers.iter().map(|id| (id.scheme().label().to_owned(), id.display())));
    facts.extend([
        (words.fact_address(), or_not_recorded(Some(&address))),
        (words.fact_gp(), or_not_recorded(patient.gp_practice.as_ref())),
        (words.fact_avoid(), avoid(patient).text),
        (words.fact_stoma(), loaded.stoma.words()),
        (words.fact_surgery(), date(loaded.stoma.surgery_on)),
        (words.fact_size(), loaded.size_words()),
    ]);
    facts
}

fn table(lines: &[LineRow], words: &Language) -> Block {
    let row = |row: &LineRow| {
        let mut about = vec![item(row)];
        about.extend(row.aperture_mm.map(|mm| words.opening(&mm.to_string())));
        if row.issue == "acute" {
            about.push(words.once());
        }
        about.extend(row.reason.as_ref().map(|why| words.reason(why)));
        about.extend(row.review_on.map(|on| words.look_again(&words.long_date(on))));
        let [packs, units, pack] = [row.packs, row.supplied, row.pack].map(|number| number.to_string());
        let packs = if row.pack == 1 { words.singles(&units) } else { words.packs_of(&packs, &units, &pack) };
        vec![about.join("\n"), usage(words, row.use_units, row.use_every_days), packs]
    };
    let columns = vec![
        Column::text(words.column_item()).share(5),
        Column::text(words.column_use()).share(2),
        Column::text(words.column_packs()).share(2),
    ];
    Block::Table { caption: String::new(), columns, rows: lines.iter().map(row).collect() }
}

/// What differs from the list before, for who uses the items: new, stopped, used more or less often.
fn changes(loaded: &Loaded, words: &Language) -> Vec<String> {
    let Some((_, before)) = &loaded.before else { return vec![words.change_first()] };
    let mut said = Vec::new();
    for now in &loaded.lines {
        match before.iter().find(|then| then.item_id == now.item_id) {
            None => said.push(words.change_new(&item(now))),
            Some(then) if (then.use_units, then.use_every_days) != (now.use_units, now.use_every_days) => {
                said.push(words.change_use(&item(now), &usage(words, now.use_units, now.use_every_days)));
            }
            Some(_) => {}
        }
    }
    let gone = before.iter().filter(|then| loaded.lines.iter().all(|now| now.item_id != then.item_id));
    said.extend(gone.map(|then| words.change_stopped(&item(then))));
    if said.is_empty() { vec![words.change_none()] } else { said }
}
