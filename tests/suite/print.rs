//! Paper: what comes out of `print`, read back by programs that did not write it (qpdf, poppler, pdfua).
//!
//! Needed on the machine: `qpdf`, `pdftotext` (Debian: qpdf, poppler-utils) and, for the PDF/UA check, the Python
//! environment that `tests/run` makes.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)] // helpers of tests stop the test

use std::path::Path;
use std::process::{Command, Output};

use chrono::NaiveDate;
use roundel::print::{Block, Column, Document, PAGE_OF, PrintError, TextSize, render};
use serde_json::{Map, Value};
use tempfile::TempDir;

const IDENTITY: &str = "THISTLEWOOD, Marion (Mrs) · born 03-Feb-1950 · NHS No. 999\u{a0}000\u{a0}0042";
/// Points; A4 less the margin of 20 mm (210 mm - 20 mm), as `docs/print.md` states.
const RIGHT_EDGE: f32 = 190.0 * 72.0 / 25.4;

fn document(blocks: Vec<Block>) -> Document {
    Document {
        title: "Appliance supply summary".into(),
        language: "en-GB".into(),
        identity: IDENTITY.into(),
        footer: "Stoma care nursing, Example Community Health. Record version 17.".into(),
        page_of: PAGE_OF.into(),
        mark: Some("Demonstration: invented data".into()),
        created: NaiveDate::from_ymd_opt(2026, 11, 25).and_then(|day| day.and_hms_opt(14, 5, 9)).unwrap(),
        size: TextSize::Usual,
        blocks,
    }
}

fn table(lines: usize) -> Block {
    let row = |at: usize| {
        let item = "One-piece drainable pouch, convex, cut-to-fit 15–45 mm, opaque";
        vec![format!("Line{at}"), item.into(), "10".into(), "1 × 10".into(), if at == 1 { "" } else { "30" }.into()]
    };
    Block::Table {
        caption: "28 days".into(),
        columns: vec![
            Column::text("No."),
            Column::text("Item").share(3),
            Column::number("Units"),
            Column::number("Packs"),
            Column::number("Lasting"),
        ],
        rows: (1..=lines).map(row).collect(),
    }
}

/// A summary as a clinic prints it.
fn summary(lines: usize) -> Document {
    let fact = |name: &str, value: &str| (name.to_owned(), value.to_owned());
    document(vec![
        Block::Heading(2, "Patient".into()),
        Block::Facts(vec![
            fact("Name", "THISTLEWOOD, Marion (Mrs)"),
            fact("Born", "03-Feb-1950"),
            fact(
                "Stoma",
                "End ileostomy, formed 15-Jan-2026; 28 × 26 mm, spout 12 mm, convex; care by the community team",
            ),
            fact("Allergies", ""),
        ]),
        Block::Heading(2, "Items".into()),
        table(lines),
        Block::Heading(3, "Remarks".into()),
        Block::Note("Wipes: 30 are above the usual 10 to 20.".into()),
        Block::Paragraph("Ring the team before you change a quantity.".into()),
        Block::SignatureLines(vec!["Signature".into(), "Date".into()]),
    ])
}

fn saved(document: &Document) -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("x.pdf"), render(document).unwrap()).unwrap();
    dir
}

fn tool(name: &str, args: &[&str], dir: &Path) -> Output {
    Command::new(name).args(args).current_dir(dir).output().unwrap_or_else(|error| {
        panic!("cannot run {name} ({error}): install the Debian packages qpdf and poppler-utils")
    })
}

/// The text of each page.
fn pages(document: &Document) -> Vec<String> {
    let dir = saved(document);
    let out = tool("pdftotext", &["-layout", "x.pdf", "-"], dir.path());
    let text = String::from_utf8(out.stdout).unwrap();
    text.trim_end_matches('\u{c}').split('\u{c}').map(ToOwned::to_owned).collect()
}

fn squeezed(text: &str) -> String {
    text.split_whitespace().collect()
}

#[test]
fn same_document_same_bytes() {
    let first = render(&summary(12)).unwrap();
    assert!(first == render(&summary(12)).unwrap());
    let mut later = summary(12);
    later.created += chrono::TimeDelta::seconds(1);
    assert!(first != render(&later).unwrap(), "the creation date is in the bytes");
}

#[test]
fn every_page_has_identity_mark_footer_and_its_number() {
    let pages = pages(&summary(120));
    assert!(pages.len() > 3, "{} pages", pages.len());
    for (at, page) in pages.iter().enumerate() {
        let text = squeezed(page);
        for expected in [
            IDENTITY,
            "Demonstration: invented data",
            "Record version 17.",
            &format!("Page {} of {}", at + 1, pages.len()),
        ] {
            assert!(text.contains(&squeezed(expected)), "page {} lacks {expected}:\n{page}", at + 1);
        }
    }
}

#[test]
fn a_table_repeats_its_head_and_keeps_every_row_whole() {
    let pages = pages(&summary(120));
    let mut found = 0;
    for page in pages.iter().filter(|page| page.contains("Line")) {
        let (head, first) = (page.find("Lasting"), page.find("Line"));
        assert!(head.is_some() && head < first, "no head above the rows:\n{page}");
        let rows = page.matches("Line").count();
        assert_eq!(rows, page.matches("opaque").count(), "a row is parted from its text:\n{page}");
        found += rows;
    }
    assert_eq!(found, 120);
}

#[test]
fn words_longer_than_the_column_are_cut_and_nothing_leaves_the_page() {
    let word = "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaft".repeat(3);
    let document = document(vec![
        Block::Heading(2, word.clone()),
        Block::Paragraph(word.clone()),
        Block::Facts(vec![(word.clone(), word.clone())]),
        Block::Table {
            caption: word.clone(),
            columns: vec![Column::text("A"), Column::text(&word).share(1), Column::number("Units")],
            rows: vec![vec![word.clone(), word.clone(), word.clone()]],
        },
        Block::Note(word.clone()),
        Block::SignatureLines(vec![word.clone(), word.clone()]),
    ]);
    let dir = saved(&document);
    let out = tool("pdftotext", &["-bbox", "x.pdf", "-"], dir.path());
    let boxes = String::from_utf8(out.stdout).unwrap();
    let rights: Vec<f32> = boxes
        .split("xMax=\"")
        .skip(1)
        .filter_map(|part| part.split('"').next().and_then(|number| number.parse().ok()))
        .collect();
    assert!(rights.len() > 50, "{} words", rights.len());
    let most = rights.iter().copied().fold(0.0, f32::max);
    assert!(most <= RIGHT_EDGE + 0.5, "text reaches {most}, the margin is at {RIGHT_EDGE}");
    let note = format!("Note{word}");
    let only = Document { blocks: vec![Block::Paragraph(note.clone())], ..document };
    let all: String = pages(&only).iter().map(|page| squeezed(page)).collect();
    assert!(all.contains(&note), "letters were lost: {all}");
}

#[test]
fn dates_and_quantities_stay_on_one_line() {
    // Ever longer beginnings, so that every place of the words meets the end of the line.
    let blocks = (1..95).map(|at| Block::Paragraph(format!("{} on 25-Nov-2026 cut-to-fit 50 mL now", "x".repeat(at))));
    let pages = pages(&document(blocks.collect()));
    let lines: Vec<&str> = pages.iter().flat_map(|page| page.lines()).map(str::trim).collect();
    for end in ["on", "25-Nov-2026", "cut-", "cut-to-", "cut-to-fit", "50 mL"] {
        assert!(lines.iter().any(|line| line.ends_with(end)), "no line breaks after {end}");
    }
    for end in ["25-", "Nov-", "50"] {
        assert!(!lines.iter().any(|line| line.ends_with(end)), "a line breaks after {end}");
    }
}

#[test]
fn a_cell_longer_than_a_page_goes_on() {
    let words: Vec<String> = (0..3000).map(|at| format!("w{at}.")).collect();
    let block = Block::Table {
        caption: String::new(),
        columns: vec![Column::text("Date"), Column::text("What was said").share(1)],
        rows: vec![vec!["25-Nov-2026".into(), words.join(" ")], vec!["26-Nov-2026".into(), "end".into()]],
    };
    let pages = pages(&document(vec![Block::Paragraph("Before.".into()), block]));
    assert!(pages.len() > 2);
    let all = pages.concat();
    for word in &words {
        assert!(all.contains(word.as_str()), "{word} is lost");
    }
    assert!(pages.iter().all(|page| page.contains("What was said")));
}

#[test]
fn a_heading_never_stands_alone_at_the_foot_of_a_page() {
    let mut seen_turn = false;
    for count in 20..50 {
        let mut blocks: Vec<Block> = (0..count).map(|at| Block::Paragraph(format!("Before {at}."))).collect();
        blocks.push(Block::Heading(2, "Items".into()));
        blocks.push(Block::Heading(3, "Second".into()));
        blocks.push(table(2));
        let pages = pages(&document(blocks));
        let page = pages.iter().position(|page| page.contains("Items")).unwrap();
        assert!(pages[page].contains("Second") && pages[page].contains("Line1"), "{count}:\n{}", pages[page]);
        seen_turn |= page > 0;
    }
    assert!(seen_turn, "no document reached the second page");
}

#[test]
fn names_from_everywhere_print_and_what_cannot_print_is_named() {
    let names =
        ["ŁUKASIK-ŐRY", "Ŵyn Ŷale", "Þórdís", "NGUYỄN, Ngọc Ánh", "Ọláwálé", "Παπαδόπουλος", "Щербакова", "Ñ → ✓ ≥ ½"];
    for size in [TextSize::Usual, TextSize::ClearPrint] {
        let document =
            Document { identity: names.join(" · "), size, ..document(vec![Block::Note(names.join(" · "))]) };
        let text: String = pages(&document).iter().map(|page| squeezed(page)).collect();
        for name in names {
            assert_eq!(text.matches(&squeezed(name)).count(), 2, "{name} in {text}");
        }
    }
    for (text, lacking) in [("Chart \u{1f600}", '\u{1f600}'), ("陳 Chan", '陳'), ("a\u{7}b", '\u{7}')] {
        let error = render(&document(vec![Block::Paragraph(text.into())])).unwrap_err();
        assert_eq!(error, PrintError::Missing(lacking));
        assert!(error.to_string().contains(&format!("U+{:04X}", u32::from(lacking))), "{error}");
    }
    // The same letter in one sign and in two gives the same paper.
    let one = render(&document(vec![Block::Paragraph("Zo\u{eb}".into())])).unwrap();
    assert!(one == render(&document(vec![Block::Paragraph("Zoe\u{308}".into())])).unwrap());
}

#[test]
fn wrong_documents_are_refused_with_words() {
    let uneven = Block::Table {
        caption: "Items".into(),
        columns: vec![Column::text("A"), Column::text("B")],
        rows: vec![vec!["1".into(), "2".into()], vec!["3".into()]],
    };
    let level = |level: u8| PrintError::Level { level, text: "x".into() };
    for (wrong, expected) in [
        (document(vec![uneven]), PrintError::Uneven { caption: "Items".into(), row: 2, found: 1, expected: 2 }),
        (document(vec![Block::Heading(3, "x".into())]), level(3)),
        (document(vec![Block::Heading(1, "x".into())]), level(1)),
        (document(vec![Block::Heading(2, " ".into())]), PrintError::Blank("heading")),
        (Document { title: String::new(), ..document(vec![]) }, PrintError::Blank("title")),
        (Document { language: String::new(), ..document(vec![]) }, PrintError::Blank("language")),
        (Document { identity: "long ".repeat(900), ..document(vec![]) }, PrintError::TooTall("the identity strip")),
        (Document { footer: "long ".repeat(1500), ..document(vec![]) }, PrintError::TooTall("the footer")),
        (
            Document { created: NaiveDate::MIN.and_hms_opt(0, 0, 0).unwrap(), ..document(vec![]) },
            PrintError::Year(NaiveDate::MIN.format("%Y").to_string().parse().unwrap()),
        ),
    ] {
        assert_eq!(render(&wrong).unwrap_err(), expected);
    }
}

/// The roles of the tree in reading order, each with the roles of its parts.
struct Node {
    role: String,
    parts: Vec<Node>,
    marks: usize,
}

impl Node {
    fn read(objects: &Map<String, Value>, value: &Value) -> Self {
        let own = follow(objects, value);
        let role = own["/S"].as_str().unwrap_or("").trim_start_matches('/').to_owned();
        let mut node = Self { role, parts: Vec::new(), marks: 0 };
        let kids = follow(objects, &own["/K"]);
        let kids = kids.as_array().cloned().unwrap_or_else(|| vec![kids.clone()]);
        for kid in &kids {
            let kid = follow(objects, kid);
            if kid.get("/S").is_some() {
                node.parts.push(Self::read(objects, kid));
            } else if !kid.is_null() {
                node.marks += 1;
            }
        }
        node
    }

    fn all<'n>(&'n self, role: &str, found: &mut Vec<&'n Node>) {
        if self.role == role {
            found.push(self);
        }
        self.parts.iter().for_each(|part| part.all(role, found));
    }

    fn find(&self, role: &str) -> Vec<&Node> {
        let mut found = Vec::new();
        self.all(role, &mut found);
        found
    }
}

fn follow<'v>(objects: &'v Map<String, Value>, value: &'v Value) -> &'v Value {
    let target =
        value.as_str().filter(|name| name.ends_with(" R")).and_then(|name| objects.get(&format!("obj:{name}")));
    target.map_or(value, |object| &object["value"])
}

#[test]
fn the_tag_tree_says_what_everything_is() {
    let dir = saved(&summary(60));
    let out = tool("qpdf", &["--json=2", "x.pdf"], dir.path());
    let json: Value = serde_json::from_slice(&out.stdout).unwrap();
    let objects = json["qpdf"][1].as_object().unwrap();
    let root = follow(objects, &objects["trailer"]["value"]["/Root"]);
    assert_eq!(root["/Lang"], "u:en-GB");
    assert_eq!(follow(objects, &root["/MarkInfo"])["/Marked"], true);
    let above = Node::read(objects, &root["/StructTreeRoot"]);
    let tree = &above.parts[0];
    assert_eq!(tree.role, "Document");
    let top: Vec<&str> = tree.parts.iter().map(|part| part.role.as_str()).collect();
    // Mark, strip, title, Patient, facts, Items, table, Remarks, note, paragraph, signatures, footer.
    assert_eq!(top, ["P", "P", "H1", "H2", "L", "H2", "Table", "H3", "Div", "P", "Div", "P"]);
    assert_eq!(tree.find("LI").len(), 4);
    assert!(tree.find("LI").iter().all(|item| item.parts.len() == 2 && item.parts[0].role == "Lbl"));
    let edges = [&tree.parts[0], &tree.parts[1], &tree.parts[11]];
    assert!(edges.iter().all(|edge| edge.marks == 1), "mark, strip and footer are heard once, not on every page");
    let heads: Vec<usize> = tree.find("TH").iter().map(|head| head.marks).collect();
    assert_eq!(heads, [1; 5], "repeated heads are heard once");
    let body = tree.find("TBody");
    assert_eq!(body[0].parts.len(), 60);
    assert!(body[0].parts.iter().all(|row| row.parts.len() == 5), "an empty cell is a cell");
    assert!(body[0].parts.iter().flat_map(|row| &row.parts).all(|cell| cell.role == "TD" && cell.marks > 0));
    let caption = tree.find("Table")[0].parts[0].role.as_str();
    assert_eq!(caption, "Caption");
    let outlines = follow(objects, &root["/Outlines"]);
    assert_eq!(follow(objects, &outlines["/First"])["/Title"], "u:Appliance supply summary");
}

#[test]
fn declares_and_passes_archive_and_accessibility_rules() {
    let python = std::env::var_os("ROUNDEL_TEST_PYTHON").expect("run tests/run, it makes the Python environment");
    let clear = Document { size: TextSize::ClearPrint, ..summary(12) };
    let bare = Document { identity: String::new(), footer: String::new(), mark: None, ..document(vec![]) };
    for document in [summary(12), summary(120), clear, bare] {
        let bytes = render(&document).unwrap();
        for declared in ["<pdfaid:part>2<", "<pdfaid:conformance>A<", "<pdfuaid:part>1<"] {
            assert!(bytes.windows(declared.len()).any(|part| part == declared.as_bytes()), "{declared}");
        }
        let dir = saved(&document);
        let out = tool("qpdf", &["--check", "x.pdf"], dir.path());
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        let out =
            Command::new(&python).args(["-m", "pdfua", "check", "x.pdf"]).current_dir(dir.path()).output().unwrap();
        let said = String::from_utf8_lossy(&out.stdout);
        assert!(
            out.status.success() && said.contains("result: PASS"),
            "{said}{}",
            String::from_utf8_lossy(&out.stderr)
        );
    }
}

#[test]
fn a_summary_is_small() {
    let bytes = render(&summary(12)).unwrap().len();
    println!("summary of 12 lines: {bytes} bytes");
    assert!(bytes < 100_000);
}
