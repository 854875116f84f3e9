//! How old a reader must be: the grade of Flesch and Kincaid, and SMOG beside it, over all that a patient reads.
//!
//! Grade: Kincaid, Fishburne, Rogers and Chissom, Derivation of new readability formulas for Navy enlisted personnel,
//! Research Branch Report 8-75, Naval Technical Training Command, 1975. SMOG: McLaughlin, SMOG grading: a new
//! readability formula, Journal of Reading 1969;12(8):639-46. A grade is a year at school in the United States, begun at
//! about 6: the age is the grade and 5 (common practice). Both are worked out again by the packages `syllapy` and
//! `textstat` (`tests/outside/reading_oracle.py`), each of which counts syllables in its own way.

use std::process::Command;

use roundel::supplies::patient_words::languages;
use roundel::supplies::rules::ItemCategory;
use serde_json::{Value, json};

use super::{full_sheet, fullest, longest, texts_of};

/// The oldest reader that the texts may ask for, in years.
const OLDEST: f64 = 11.0;
/// From a school grade to an age.
const GRADE_TO_AGE: f64 = 5.0;
/// How far our syllables by letters and those of a word list may lie apart, in grades.
const APART: f64 = 0.4;
/// How far `textstat` may, which counts by hyphenation and leaves out sentences of one or two words.
const FURTHER_APART: f64 = 1.6;

/// Sentences as lists of words in small letters. A line ends a sentence, as a heading or an item of a list does.
fn sentences(lines: &[String]) -> Vec<Vec<String>> {
    let mut all = Vec::new();
    for line in lines {
        for sentence in line.split_inclusive(['.', '?', '!', ':']) {
            let words: Vec<String> = sentence
                .split(|c: char| !c.is_alphanumeric() && c != '\'' && c != '’')
                .filter(|word| !word.is_empty())
                .map(str::to_lowercase)
                .collect();
            if !words.is_empty() {
                all.push(words);
            }
        }
    }
    all
}

/// Syllables of an English word by its letters; of a number by its digits.
fn syllables(word: &str) -> usize {
    if word.chars().all(|c| c.is_ascii_digit()) {
        return word.len();
    }
    let letters: Vec<char> = word.chars().filter(|c| c.is_alphabetic()).collect();
    let vowel = |at: usize| letters.get(at).is_some_and(|c| "aeiouy".contains(*c));
    let mut count = (0..letters.len()).filter(|at| vowel(*at) && (*at == 0 || !vowel(at - 1))).count();
    let word: String = letters.iter().collect();
    let n = letters.len();
    let silent =
        |ending: usize, kept: &str| n > ending + 1 && !vowel(n - ending - 1) && !kept.contains(letters[n - ending - 1]);
    if (word.ends_with('e') && !(word.ends_with("le") && n > 2 && !vowel(n - 3)) && silent(1, ""))
        || (word.ends_with("es") && silent(2, "sxzchg"))
        || (word.ends_with("ed") && silent(2, "td"))
    {
        count -= 1;
    }
    for two in ["ia", "eo", "io", "iu"] {
        count += word.matches(two).count();
    }
    for one in ["tia", "cia", "tio", "sio", "gio", "cio"] {
        count -= word.matches(one).count().min(count.saturating_sub(1));
    }
    count.max(1)
}

struct Measure {
    sentences: f64,
    words: f64,
    syllables: f64,
    long_words: f64,
}

impl Measure {
    fn of(sentences: &[Vec<String>]) -> Self {
        let words: Vec<&String> = sentences.iter().flatten().collect();
        Self {
            sentences: sentences.len() as f64,
            words: words.len() as f64,
            syllables: words.iter().map(|word| syllables(word)).sum::<usize>() as f64,
            long_words: words.iter().filter(|word| syllables(word) >= 3).count() as f64,
        }
    }

    fn kincaid(&self) -> f64 {
        0.39 * self.words / self.sentences + 11.8 * self.syllables / self.words - 15.59
    }

    fn smog(&self) -> f64 {
        1.0430 * (self.long_words * 30.0 / self.sentences).sqrt() + 3.1291
    }
}

/// Every message of the language with its places filled by the longest that may come there.
fn filled_messages() -> Vec<String> {
    let item = ItemCategory::ALL.iter().map(|category| longest(*category)).max_by_key(String::len).unwrap();
    let fill = |place: &str| -> String {
        match place {
            "item" => item.clone(),
            "usage" => "5 every 14 days".to_owned(),
            "stoma" => "your ileostomy".to_owned(),
            "date" => "30 September 2026".to_owned(),
            "reason" => "Skin marks when the plate is peeled dry".to_owned(),
            "title" => "Put the new pouch on the plate".to_owned(),
            "name" => "Maeve Corrigan-Bell".to_owned(),
            "phone" => "01632 960000".to_owned(),
            "packs" | "units" | "pack" | "days" | "mm" | "number" | "version" => "28".to_owned(),
            other => panic!("what may stand for {{{other}}}?"),
        }
    };
    let english = languages().unwrap().usual();
    // The edges of the page name service and version for whoever handles the paper; months are no text.
    let read = |key: &str| !key.starts_with("page.") && !key.starts_with("month.") && key != "date" && key != "name";
    let mut said = Vec::new();
    for (key, text) in english.texts().filter(|(key, _)| read(key)) {
        let places: Vec<&str> = text.split('{').skip(1).filter_map(|part| part.split('}').next()).collect();
        let fills: Vec<(&str, String)> = places.iter().map(|place| (*place, fill(place))).collect();
        let fills: Vec<(&str, &str)> = fills.iter().map(|(place, fill)| (*place, fill.as_str())).collect();
        said.push(english.say(key, &fills));
    }
    said
}

/// What is measured: name and lines.
fn papers() -> Vec<(String, Vec<String>)> {
    let english = languages().unwrap().usual();
    let mut papers = vec![("all messages, filled with the longest".to_owned(), filled_messages())];
    for (kind, lines) in fullest() {
        let system = lines.first().map(|line| line.category.words()).unwrap_or_default();
        let name = format!("change routine, {}, {system}, every item", kind.code());
        papers.push((name, texts_of(&full_sheet(kind, &lines, english))));
    }
    papers
}

/// What the outside packages make of these: one answer for each.
fn outside(papers: &[Vec<Vec<String>>]) -> Vec<Value> {
    let python = std::env::var("ROUNDEL_TEST_PYTHON").expect("run tests/run, it makes the Python environment");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/reading_oracle.py");
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("papers.json");
    let lines = |paper: &Vec<Vec<String>>| paper.iter().map(|words| words.join(" ")).collect::<Vec<_>>();
    std::fs::write(&file, json!(papers.iter().map(lines).collect::<Vec<_>>()).to_string()).unwrap();
    let out = Command::new(python).arg(script).arg(&file).output().expect("Python starts");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_slice::<Vec<Value>>(&out.stdout).expect("JSON")
}

#[test]
fn a_reader_of_eleven_understands_every_paper() {
    for (name, lines) in papers() {
        let measure = Measure::of(&sentences(&lines));
        let (grade, smog) = (measure.kincaid(), measure.smog());
        let age = grade + GRADE_TO_AGE;
        println!(
            "reading age {age:.1} (Flesch-Kincaid grade {grade:.1}, SMOG grade {smog:.1}; {} words, {} sentences): {name}",
            measure.words, measure.sentences
        );
        assert!(measure.words > 300.0, "{name}: too little to measure");
        assert!(age <= OLDEST, "{name}: reading age {age:.1}");
    }
}

#[test]
fn outside_packages_find_the_same() {
    // Numbers are left out on both sides: the packages give them no syllable at all.
    let no_number = |word: &String| !word.chars().any(|c| c.is_ascii_digit());
    let bare = |lines: &[String]| -> Vec<Vec<String>> {
        let all = sentences(lines).into_iter();
        all.map(|words| words.into_iter().filter(no_number).collect())
            .filter(|words: &Vec<String>| !words.is_empty())
            .collect()
    };
    let mut papers = papers();
    papers.push((
        "a hard text, so that the measure can be seen to fail".to_owned(),
        vec![
            "Notwithstanding the aforementioned considerations, individuals experiencing peristomal dermatological \
             complications should immediately contact their multidisciplinary specialist service representative in \
             order that appropriate investigations, interventions and alternative appliance configurations may be \
             considered."
                .to_owned(),
        ],
    ));
    let texts: Vec<_> = papers.iter().map(|(_, lines)| bare(lines)).collect();
    let theirs = outside(&texts);
    assert_eq!(theirs.len(), papers.len());
    for (((name, _), text), theirs) in papers.iter().zip(&texts).zip(&theirs) {
        let ours = Measure::of(text);
        let number = |field: &str| theirs[field].as_f64().unwrap_or_else(|| panic!("{field}: {theirs}"));
        println!(
            "{name}: grade {:.2}, by a word list {:.2}, by textstat {:.1}; SMOG {:.2}, {:.2}",
            ours.kincaid(),
            number("kincaid"),
            number("textstat"),
            ours.smog(),
            number("smog")
        );
        assert_eq!((ours.words, ours.sentences), (number("words"), number("sentences")), "{name}");
        if name.starts_with("a hard text") {
            assert!(
                [ours.kincaid(), number("kincaid"), number("textstat")].iter().all(|grade| *grade > 12.0),
                "{name}"
            );
            continue;
        }
        assert!((ours.kincaid() - number("kincaid")).abs() <= APART, "{name}");
        assert!((ours.smog() - number("smog")).abs() <= APART, "{name}");
        assert!((ours.kincaid() - number("textstat")).abs() <= FURTHER_APART, "{name}");
        for grade in ["kincaid", "textstat"] {
            assert!(number(grade) + GRADE_TO_AGE <= OLDEST, "{name}: by {grade}");
        }
    }
}

/// Words of the trade with the syllables that a dictionary gives them (Oxford English Dictionary, from memory).
#[test]
fn syllables_are_counted_as_they_are_spoken() {
    for (word, expected) in [
        ("pouch", 1),
        ("stoma", 2),
        ("colostomy", 4),
        ("ileostomy", 5),
        ("urostomy", 4),
        ("plate", 1),
        ("peeled", 1),
        ("wanted", 2),
        ("table", 2),
        ("pouches", 2),
        ("takes", 1),
        ("station", 2),
        ("special", 2),
        ("the", 1),
        ("urine", 2),
        ("adhesive", 3),
        ("silicone", 3),
    ] {
        assert_eq!(syllables(word), expected, "{word}");
    }
}
