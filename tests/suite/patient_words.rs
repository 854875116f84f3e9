//! The words that patients read: files against the program, a second language from a file, reading age.

mod reading_age;

use chrono::NaiveDate;
use roundel::print::{Block, Document, PAGE_OF, TextSize, render};
use roundel::supplies::patient_words::languages;
use roundel::supplies::routine_sheet::{RoutineLine, Sheet, SheetFor, sheet};
use roundel::supplies::rules::{ItemCategory, StomaKind, catalogue, routine_messages, routine_rules};
use roundel::words::{Language, Languages, WordsError, shipped_files};

/// An invented language, as a translator would hand it in.
const INVENTED: &str = include_str!("data/qaa.toml");

fn english() -> String {
    shipped_files().into_iter().find(|(tag, _)| tag == "en-GB").expect("the usual language").1
}

fn with(tag: &str, text: &str) -> Result<Languages, WordsError> {
    Languages::of([("en-GB".to_owned(), english()), (tag.to_owned(), text.to_owned())], &routine_messages())
}

/// The longest item of the catalogue in a category; a long name where the catalogue has none.
pub fn longest(category: ItemCategory) -> String {
    let of = catalogue().iter().filter(|item| item.category == category).map(|item| item.name.clone());
    of.max_by_key(String::len).unwrap_or_else(|| format!("{}, usual size", category.words()))
}

/// Every system that a list can be for, with all items that may stand beside it.
pub fn fullest() -> Vec<(StomaKind, Vec<RoutineLine>)> {
    use ItemCategory::*;
    let beside: Vec<ItemCategory> = ItemCategory::ALL
        .iter()
        .copied()
        .filter(|item| item.pouch().is_none() && *item != Flange && !matches!(item, NightBag | LegBag))
        .collect();
    let systems: [(StomaKind, &[ItemCategory]); 6] = [
        (StomaKind::Colostomy, &[OnePieceClosed]),
        (StomaKind::Colostomy, &[TwoPieceClosedPouch, Flange]),
        (StomaKind::Ileostomy, &[OnePieceDrainable]),
        (StomaKind::Ileostomy, &[TwoPieceDrainablePouch, Flange]),
        (StomaKind::Urostomy, &[OnePieceUrostomy, NightBag, LegBag]),
        (StomaKind::Urostomy, &[TwoPieceUrostomyPouch, Flange, NightBag, LegBag]),
    ];
    let line = |category: &ItemCategory| RoutineLine {
        category: *category,
        item: longest(*category),
        opening_mm: category.has_plate().then_some(35),
        usage: (5, 14),
    };
    systems.iter().map(|(kind, own)| (*kind, own.iter().chain(&beside).map(line).collect())).collect()
}

/// The sheet of a full list.
pub fn full_sheet(kind: StomaKind, lines: &[RoutineLine], words: &Language) -> Sheet {
    let signed_on = NaiveDate::from_ymd_opt(2026, 9, 30).unwrap();
    sheet(SheetFor { kind, signed_on, version: 12, phone: Some("01632 960000") }, lines, words).expect("a routine")
}

/// Every text of a sheet, one for each paragraph, heading or item.
pub fn texts_of(sheet: &Sheet) -> Vec<String> {
    let mut texts = vec![sheet.title.clone()];
    for block in sheet.blocks() {
        match block {
            Block::Heading(_, text) | Block::Paragraph(text) | Block::Note(text) => {
                texts.extend(text.split('\n').map(|line| line.trim_start_matches("•\u{a0}").to_owned()));
            }
            other => panic!("a sheet holds no {other:?}"),
        }
    }
    texts
}

#[test]
fn the_shipped_languages_have_every_message_and_no_other() {
    let all = languages().expect("the languages of the program");
    assert_eq!(all.usual().tag(), "en-GB");
    assert!(all.usual().texts().count() > 120);
    assert_eq!(all.all().len(), shipped_files().len());
    // A choice is offered only where there is one.
    assert_eq!(all.choices().is_empty(), all.all().len() < 2);
}

#[test]
fn a_translator_adds_one_file_and_touches_no_code() {
    let all = with("qaa", INVENTED).expect("the invented language fits");
    assert_eq!(all.choices(), [("en-GB".to_owned(), "English".to_owned()), ("qaa".to_owned(), "Hsilgnea".to_owned())]);
    let invented = all.find("qaa").unwrap();
    let date = NaiveDate::from_ymd_opt(2026, 11, 5).unwrap();
    assert_eq!(invented.long_date(date), "5 Rebmevona 2026");
    for (kind, lines) in fullest() {
        let (ours, theirs) = (full_sheet(kind, &lines, all.usual()), full_sheet(kind, &lines, invented));
        let items: Vec<&str> = lines.iter().map(|line| line.item.as_str()).collect();
        let (ours, theirs) = (texts_of(&ours), texts_of(&theirs));
        assert_eq!(ours.len(), theirs.len());
        for (english, other) in ours.iter().zip(&theirs) {
            // Names of items come from the service's own catalogue and stay as they are; everything else is translated.
            assert!(english != other || items.contains(&english.as_str()), "not translated: {english}");
            assert!(!other.contains(['{', '}']), "a place was not filled: {other}");
        }
    }
}

#[test]
fn a_file_that_does_not_fit_is_refused_with_what_to_mend() {
    let cases = [
        (INVENTED.replace("\nphone = \"Gnira", "\nfone = \"Gnira"), "missing: ring.phone"),
        (INVENTED.replace("[ring]", "[ring]\nextra = \"Oha\""), "never used: ring.extra"),
        (
            INVENTED.replace("noa {phone}.", "noa {fone}."),
            "ring.phone must have [\"phone\"] to fill and has [\"fone\"]",
        ),
        (INVENTED.replace("{days} syada", "syada"), "must have"),
        (INVENTED.replace("[ring]", "[ring]\nextra = 4"), "ring.extra is no text"),
        (INVENTED.replace("[step.ready]", "[step.redy]"), "missing: step.ready.text, step.ready.title"),
        (INVENTED.replace("name = \"Hsilgnea\"", "name = \"\""), "name is empty"),
        ("name = ".to_owned(), "qaa.toml"),
    ];
    for (text, expected) in cases {
        assert_ne!(text, INVENTED, "{expected}: the case changes nothing");
        let refused = with("qaa", &text).expect_err(expected).to_string();
        assert!(refused.contains(expected), "{expected}: {refused}");
    }
    let alone = Languages::of([("qaa".to_owned(), INVENTED.to_owned())], &routine_messages());
    assert_eq!(alone, Err(WordsError::NoUsual));
}

/// Whatever the messages say, a face of the paper has signs for it.
#[test]
fn every_message_of_every_language_can_be_printed() {
    for language in languages().unwrap().all() {
        let blocks = language.texts().map(|(_, text)| Block::Paragraph(text.to_owned())).collect();
        let document = Document {
            title: language.tag().to_owned(),
            language: language.tag().to_owned(),
            identity: String::new(),
            footer: String::new(),
            page_of: PAGE_OF.to_owned(),
            mark: None,
            created: NaiveDate::from_ymd_opt(2026, 11, 25).unwrap().and_hms_opt(9, 0, 0).unwrap(),
            size: TextSize::LargePrint,
            blocks,
        };
        render(&document).unwrap_or_else(|error| panic!("{}: {error}", language.tag()));
    }
}

#[test]
fn steps_and_cautions_have_words_in_the_usual_language() {
    let english = Language::read("en-GB", &english()).unwrap();
    let rules = routine_rules();
    assert!(rules.steps.len() > 15 && rules.cautions.len() > 10);
    for (key, _) in routine_messages() {
        assert!(english.texts().any(|(known, _)| known == key), "{key}");
    }
}
