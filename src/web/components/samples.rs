//! Invented contents for every part, each state once.

use super::super::form_view::{Choice, DateParts, ErrorSummary, Field, Question, Width};
use super::super::shell::{Message, MessageKind, Shell};
use super::super::views::{Avoid, Band, Died, Pager, PatientBanner, Roundel, RoundelMark, Score};
use super::{CellSample, ComponentsPage, DifferenceSample, DomainSample, DraftSample, MapSample, RowSample, pictures};

/// The page.
pub(super) fn page_of(shell: Shell) -> ComponentsPage {
    let (texts, dates) = (texts(), dates());
    let mut errors = ErrorSummary::none();
    for field in texts.iter().chain(&dates) {
        errors.take(field);
    }
    ComponentsPage {
        shell,
        errors,
        texts,
        numbers: vec![
            Field::new("width", "Width of the stoma").unit("mm").width(Width::Short).value("28"),
            Field::new("output", "Output").unit("mL in 24 h").width(Width::Short).optional(),
        ],
        dates,
        secret: Field::new("secret", "Password").autocomplete("current-password").width(Width::Full),
        code: Field::new("code", "Code from your device").autocomplete("one-time-code").width(Width::Short),
        births: births(),
        radios: radios(),
        checkboxes: checkboxes(),
        single: vec![
            (Field::new("large", "Print in large letters").value("yes"), false),
            (Field::new("told", "The patient was told").value("yes").hint("By phone or in the clinic"), true),
        ],
        selects: selects(),
        areas: vec![
            Field::new("plan", "Plan").hint("What was agreed").value("Measure again in two weeks."),
            Field::new("reason", "Reason").error(Some("Write why")),
        ],
        domains: vec![domain("sample-plain", None, ""), domain("sample-wrong", Some("Choose an area"), "2")],
        map: map(),
        draft: DraftSample { from: Some("today at 10:42".to_owned()), place: "sample".to_owned() },
        differences: vec![DifferenceSample {
            label: "Phone".to_owned(),
            typed: "01632 960123".to_owned(),
            stands: "01632 960456".to_owned(),
        }],
        messages: messages(),
        tags: [("plain", "draft"), ("good", "fulfilled"), ("mind", "due"), ("bad", "missed")]
            .map(|(kind, word)| (kind.to_owned(), word.to_owned()))
            .to_vec(),
        bands: bands(),
        scores: scores(),
        roundels: roundels(),
        banners: banners(),
        rows: rows(),
        pagers: vec![
            Pager { words: "1 to 30 of 412".into(), previous: None, next: Some("#pagers".into()) },
            Pager { words: "31 to 60 of 412".into(), previous: Some("#pagers".into()), next: Some("#pagers".into()) },
        ],
        charts: pictures::charts(),
    }
}

fn texts() -> Vec<Field> {
    vec![
        Field::new("plain", "Town").width(Width::Medium),
        Field::new("hinted", "Reason").hint("One sentence").value("She asked for it").width(Width::Full),
        Field::new("wrong", "Family name").error(Some("Enter the family name")).width(Width::Full),
        Field::new("kept", "Cutting size").carried("from 12-Oct-2026, confirm").value("30").width(Width::Short),
        Field::new("may", "Preferred name").optional().width(Width::Full),
    ]
}

fn dates() -> Vec<Field> {
    vec![
        Field::new("on", "Date of surgery").hint("27-Nov-2026, +2w or today"),
        Field::new("late", "Date of discharge").value("31-Feb-2026").error(Some("February has no day 31")),
    ]
}

fn births() -> Vec<DateParts> {
    let plain = Field::new("born", "Date of birth").hint("27 3 1951");
    let wrong = Field::new("born-wrong", "Date of birth").error(Some("Enter the year of birth"));
    vec![
        DateParts { field: plain, ..DateParts::default() },
        DateParts { field: wrong, day: "27".into(), month: "March".into(), year: String::new() },
    ]
}

fn choices(chosen: &str) -> Vec<Choice> {
    let list = vec![
        Choice::new("red", "Red or pink"),
        Choice::new("pale", "Pale"),
        Choice::new("dusky", "Dusky").hint("Blue or purple; on darker skin look at the stoma itself"),
    ];
    Choice::choose(list, chosen)
}

fn radios() -> Vec<Question> {
    let wrong = Field::new("colour-wrong", "Colour of the stoma").error(Some("Choose the colour"));
    vec![
        Question::new(Field::new("colour", "Colour of the stoma").hint("Compare with last time"), choices("")),
        Question::new(wrong, choices("")),
        Question::new(
            Field::new("colour-kept", "Colour of the stoma").carried("from 12-Oct-2026, confirm"),
            choices("red"),
        ),
    ]
}

fn checkboxes() -> Vec<Question> {
    let list = || vec![Choice::new("itch", "Itch"), Choice::new("burning", "Burning").checked(true)];
    vec![
        Question { field: Field::new("also", "What else"), choices: list() },
        Question { field: Field::new("also-wrong", "What else").error(Some("Choose at least one")), choices: list() },
    ]
}

fn selects() -> Vec<Question> {
    let kinds = || vec![Choice::new("", "Choose"), Choice::new("end", "End"), Choice::new("loop", "Loop")];
    vec![
        Question::new(Field::new("shape", "Construction"), kinds()),
        Question::new(Field::new("shape-wrong", "Construction").error(Some("Choose the construction")), kinds()),
    ]
}

fn domain(key: &str, error: Option<&str>, severity: &str) -> DomainSample {
    let cells = |part: &str, label: &str, words: &[&str]| {
        let name = format!("{key}_{part}");
        let list = words.iter().enumerate().map(|(nth, word)| Choice::new(nth.to_string(), *word)).collect();
        Question::new(Field::new(&name, label).id(&name), list)
    };
    let mut severe = cells("severity", "Severity", &["None", "Milder", "Marked"]);
    severe.choices = Choice::choose(severe.choices, severity);
    DomainSample {
        key: key.to_owned(),
        name: "Discolouration".to_owned(),
        help: "Feel first: warmth, texture. Colour shows less on darker skin.".to_owned(),
        error: error.map(str::to_owned),
        area: cells("area", "Area", &["None", "Under a quarter", "Up to a half", "More"]),
        severity: severe,
        points: "–".to_owned(),
    }
}

fn map() -> MapSample {
    let text = |words: &str| words.to_owned();
    MapSample {
        view: text("-60 -60 120 120"),
        stoma: (text("14"), text("12")),
        plate: (text("0"), text("0"), text("50")),
        grid: text("M0-50V50M-50 0H50"),
        cells: vec![
            CellSample { finding: text("eroded"), path: text("M20 0H40L35 20H17Z") },
            CellSample { finding: text("discoloured"), path: text("M-40 0H-20L-17 20H-35Z") },
        ],
        marks: vec![(text("0"), text("-55"), text("12")), (text("55"), text("0"), text("3"))],
        letters: text("8"),
        words: text("3 to 4 o'clock eroded; 8 to 9 o'clock discoloured."),
    }
}

fn messages() -> Vec<Message> {
    let message =
        |kind, text: &str, undo: Option<&str>| Message { kind, text: text.to_owned(), undo: undo.map(str::to_owned) };
    vec![
        message(MessageKind::Done, "EXAMPLE, Ada is booked for Fri 27-Nov-2026 10:30.", Some("/account/components")),
        message(MessageKind::Done, "The details are saved.", None),
        message(MessageKind::Note, "Saved. Another patient has the same name and year of birth.", None),
        message(MessageKind::Refused, "Somebody else changed this record. Look at it again.", None),
    ]
}

fn bands() -> Vec<Band> {
    [
        ("same-day", "Same day"),
        ("one-working-day", "One working day"),
        ("five-working-days", "Five working days"),
        ("ten-working-days", "Ten working days"),
        ("as-planned", "As planned"),
    ]
    .map(|(key, word)| Band { key: key.to_owned(), word: word.to_owned() })
    .to_vec()
}

fn scores() -> Vec<Score> {
    [
        ("8", "severe", "up", "worse by 5, was 3"),
        ("2", "mild", "down", "better by 3, was 5"),
        ("0", "clear", "same", "as last time"),
        ("4", "moderate", "first", "first score"),
    ]
    .map(|(value, band, change, words)| Score {
        value: value.to_owned(),
        out_of: "15".to_owned(),
        band: band.to_owned(),
        change: change.to_owned(),
        change_words: words.to_owned(),
        date: "12-Nov-2026".to_owned(),
    })
    .to_vec()
}

fn roundels() -> Vec<Roundel> {
    let marks = |list: &[(u16, &str)]| {
        list.iter()
            .map(|(hour, finding)| RoundelMark { turn: hour % 12 * 30, finding: (*finding).to_owned() })
            .collect()
    };
    let roundel = |letter: &str, words: &str, list: &[(u16, &str)], waiting| Roundel {
        letter: letter.to_owned(),
        words: words.to_owned(),
        marks: marks(list),
        waiting,
    };
    vec![
        roundel("C", "End colostomy; clear skin", &[], false),
        roundel(
            "I",
            "End ileostomy; 3 o'clock eroded; 4 and 5 o'clock discoloured",
            &[(3, "eroded"), (4, "discoloured"), (5, "discoloured")],
            false,
        ),
        roundel("U", "Urostomy; 11 and 12 o'clock overgrown", &[(11, "overgrown"), (12, "overgrown")], false),
        roundel("I", "Loop ileostomy; no review has a date", &[], true),
        roundel("I", "Loop ileostomy; 6 o'clock eroded; no review has a date", &[(6, "eroded")], true),
        roundel("", "No stoma recorded", &[], false),
    ]
}

fn banner(state: &str, text: &str) -> PatientBanner {
    PatientBanner {
        name: "EXAMPLE, Ada (Mrs)".to_owned(),
        preferred: Some("Adie".to_owned()),
        href: "#banners".to_owned(),
        born: "12-Mar-1951".to_owned(),
        born_iso: "1951-03-12".to_owned(),
        age: "75y".to_owned(),
        gender: "Female".to_owned(),
        nhs: "999 000 0042".to_owned(),
        other_ids: vec![("Local No.".to_owned(), "DEMO-0001".to_owned())],
        died: None,
        avoid: Avoid { state: state.to_owned(), text: text.to_owned() },
    }
}

fn banners() -> Vec<(String, PatientBanner)> {
    let died = Died { on: "04-Nov-2026".to_owned(), on_iso: "2026-11-04".to_owned(), age: "75".to_owned() };
    let not_known = "Not known".to_owned();
    vec![
        ("Sensitivities known".into(), banner("known", "Latex; adhesive remover with alcohol")),
        ("None known".into(), banner("none", "None known")),
        ("Not recorded".into(), banner("not-recorded", "Not recorded")),
        ("Not available".into(), banner("unavailable", "Not available at the moment")),
        ("Died".into(), PatientBanner { died: Some(died), ..banner("none", "None known") }),
        (
            "Hardly anything known".into(),
            PatientBanner {
                preferred: None,
                born: not_known.clone(),
                born_iso: String::new(),
                age: "age not known".into(),
                gender: not_known.clone(),
                nhs: not_known,
                other_ids: Vec::new(),
                ..banner("not-recorded", "Not recorded")
            },
        ),
    ]
}

fn rows() -> Vec<RowSample> {
    [None, Some("Same name as another here: check the date of birth".to_owned())]
        .map(|same_name| RowSample {
            href: "#rows".to_owned(),
            name: "EXAMPLE, Ada (Mrs)".to_owned(),
            same_name,
            born: "12-Mar-1951".to_owned(),
            born_iso: "1951-03-12".to_owned(),
            age: "75y".to_owned(),
            nhs: "999 000 0042".to_owned(),
        })
        .into()
}
