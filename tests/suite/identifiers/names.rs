//! Names: shown, folded, compared.

use chrono::NaiveDate;
use proptest::prelude::*;
use roundel::patients::identifiers::{Identifier, Scheme};
use roundel::patients::names::{display, fold_for_search, tidy};
use roundel::patients::rules::{
    BirthDates, DuplicateReason, Names, Person, compare_birth_dates, phonetic_key, similarity, sound_alike,
};

use super::{day, nhs};

proptest! {
    #[test]
    fn folding_and_tidying_twice_change_nothing(text in any::<String>()) {
        let folded = fold_for_search(&text);
        prop_assert_eq!(&fold_for_search(&folded), &folded);
        prop_assert!(folded.chars().all(|c| c == ' ' || c.is_alphanumeric()), "{:?}", folded);
        prop_assert!(!folded.contains("  ") && folded.trim() == folded, "{:?}", folded);
        let tidied = tidy(&text);
        prop_assert_eq!(&tidy(&tidied), &tidied);
        prop_assert_eq!(fold_for_search(&tidied), folded);
    }

    #[test]
    fn a_phonetic_key_is_a_letter_and_three_digits(name in "[A-Za-z' -]{1,20}") {
        prop_assume!(name.contains(|c: char| c.is_ascii_alphabetic()));
        let key = phonetic_key(&name);
        prop_assert_eq!(key.len(), 4);
        prop_assert!(key.starts_with(|c: char| c.is_ascii_uppercase()));
        prop_assert!(key[1..].bytes().all(|b| (b'0'..=b'6').contains(&b)));
    }
}

#[test]
fn folding_every_character_is_stable() {
    let all: Vec<char> = (0..=0x10_FFFF).filter_map(char::from_u32).collect();
    for block in all.chunks(512) {
        let text: String = block.iter().flat_map(|c| ['a', *c]).collect();
        let folded = fold_for_search(&text);
        assert_eq!(fold_for_search(&folded), folded, "from U+{:04X}", u32::from(block[0]));
    }
}

#[test]
fn names_are_shown_as_the_standard_asks() {
    // ISB 1506, "FAMILY, Given (Title)", and the patient list guide for names that are not known.
    assert_eq!(display("Thistlewood", "Marion", Some("Mrs")), "THISTLEWOOD, Marion (Mrs)");
    assert_eq!(display(" thistlewood ", "Marion  Anne", Some("mrs.")), "THISTLEWOOD, Marion Anne (Mrs)");
    assert_eq!(display("O’Brien", "Seán", Some("DR")), "O’BRIEN, Seán (Dr)");
    assert_eq!(display("Thistlewood", "Marion", Some("  ")), "THISTLEWOOD, Marion");
    assert_eq!(display("", "", None), "UNKNOWN, Unknown");
}

#[test]
fn names_fold_to_what_people_type() {
    for (written, folded) in [
        ("O’Brien-Łódź", "obrien lodz"),
        ("Smith-Jones", "smith jones"),
        ("Ångström", "angstrom"),
        ("Strauß", "strauss"),
        ("Åse Ærø Œuvre", "ase aero oeuvre"),
        ("Þóra Guðmundsdóttir", "thora gudmundsdottir"),
        ("Nguyễn Thị", "nguyen thi"),
        ("İpek Yıldız", "ipek yildiz"),
        ("D'Souza  (née Pinto)", "dsouza nee pinto"),
        ("ﬁona", "fiona"),
        ("Ολυμπία Παπάς", "ολυμπια παπασ"),
        ("...", ""),
    ] {
        assert_eq!(fold_for_search(written), folded);
    }
    assert_eq!(tidy("  Marion\t\u{a0}Anne \u{200b}"), "Marion Anne");
    assert_eq!(tidy("E\u{301}milie"), "Émilie", "letters are composed");
}

#[test]
fn phonetic_keys_follow_the_archives_examples() {
    // US National Archives, "Soundex System": its worked examples (from memory; jellyfish 1.3.0 gives the same).
    for (name, key) in [
        ("Washington", "W252"),
        ("Lee", "L000"),
        ("Gutierrez", "G362"),
        ("Pfister", "P236"),
        ("Jackson", "J250"),
        ("Tymczak", "T522"),
        ("VanDeusen", "V532"),
        ("Ashcraft", "A261"),
    ] {
        assert_eq!(phonetic_key(name), key, "{name}");
    }
    // W does not part two letters of one number either (jellyfish 1.3.0 agrees).
    assert_eq!(phonetic_key("Askwcroft"), "A261");
    assert_eq!(phonetic_key("Thistlewood"), phonetic_key("Thistelwoode"));
    assert_eq!(phonetic_key("Łukasz"), phonetic_key("Lucas"));
    assert_eq!(phonetic_key("李"), "李", "a name without A to Z meets itself");
}

/// Soundex holds to the first letter; English spelling has several for one sound. Pairs from common knowledge.
#[test]
fn beginnings_written_in_two_ways_sound_alike() {
    for (a, b) in
        [("philips", "fillips"), ("knight", "night"), ("wright", "right"), ("carr", "kerr"), ("rhodes", "rodes")]
    {
        assert!(sound_alike(a, b) && sound_alike(b, a), "{a}, {b}");
    }
    for (a, b) in [("thistlewood", "quillfeather"), ("knight", "kite"), ("carr", "barr"), ("phelps", "helps")] {
        assert!(!sound_alike(a, b), "{a}, {b}");
    }
}

fn person<'p>(family: &'p str, given: &'p str, born: Option<NaiveDate>, identifiers: &'p [Identifier]) -> Person<'p> {
    Person { family, given, birth_date: born, identifiers }
}

#[test]
fn thirty_seeded_duplicates_are_all_found() {
    // One record and thirty ways in which it is registered again by mistake.
    let number = [nhs("9990000042").unwrap()];
    let known = person("Thistlewood", "Marion", Some(day(1951, 8, 5)), &number);
    let born = Some(day(1951, 8, 5));
    let again = [
        ("Thistlewood", "Marion", born),
        ("THISTLEWOOD", "MARION", born),
        ("Thistlewood", "Marion Anne", born),
        ("Thistlewood", "M", born),
        ("Thistelwood", "Marion", born),
        ("Thistlewod", "Marion", born),
        ("Thistlewoods", "Marion", born),
        ("Thistlewoode", "Marian", born),
        ("Thistlewaite", "Marion", born),
        ("Thystlewood", "Marion", born),
        ("Histlewood", "Marion", born),
        ("Thistlewood-Hart", "Marion", born),
        ("Hart-Thistlewood", "Marion", born),
        ("Marion", "Thistlewood", born),
        ("Hart", "Marion", born),
        ("Thistlewood", "", born),
        ("Thistlewood", "Marion", Some(day(1951, 5, 8))),
        ("Thistlewood", "Marion", Some(day(1951, 8, 6))),
        ("Thistlewood", "Marion", Some(day(1951, 8, 4))),
        ("Thistlewood", "Marion", Some(day(1950, 8, 5))),
        ("Thistlewood", "Marion", Some(day(1952, 8, 5))),
        ("Thistlewood", "Marion", Some(day(1957, 8, 5))),
        ("Thistlewood", "Marion", Some(day(1961, 8, 5))),
        ("Thistlewood", "Marion", Some(day(1915, 8, 5))),
        ("Thistelwood", "Maryon", Some(day(1951, 5, 8))),
        ("Thistlewood", "M", Some(day(1951, 8, 6))),
        ("Thistlewood", "Marion", None),
        ("Thístlewood", "Márion", Some(day(1952, 8, 5))),
        ("Thistlewood", "Mary", Some(day(1951, 5, 8))),
        ("Thistle Wood", "Marion", born),
    ];
    assert_eq!(again.len(), 30);
    for (family, given, born) in again {
        let found = similarity(&person(family, given, born, &[]), &known);
        assert!(found.as_ref().is_some_and(DuplicateReason::is_likely), "{family}, {given}, {born:?}: {found:?}");
    }
    // Whatever else differs, one number is one person.
    let other = person("Quillfeather", "Piers", Some(day(1990, 1, 1)), &number);
    assert_eq!(similarity(&other, &known), Some(DuplicateReason::Number(Scheme::NhsNumber)));
}

#[test]
fn other_people_raise_no_alarm() {
    let known = person("Thistlewood", "Marion", Some(day(1951, 8, 5)), &[]);
    let families = ["Thistlewood", "Quillfeather", "Harrowgate", "Pennyfold", "Marlbrook"];
    let givens = ["Marion", "Piers", "Agnes", "Mabel", "Tobias"];
    let births = [day(1951, 8, 5), day(1951, 8, 6), day(1963, 2, 17)];
    let mut alarms = Vec::new();
    let mut others = 0;
    for family in families {
        for given in givens {
            for born in births {
                // One family name or forename with (nearly) the same birth date: a duplicate, and not among the others.
                if born != births[2] && (family == families[0] || given == givens[0]) {
                    continue;
                }
                others += 1;
                let found = similarity(&person(family, given, Some(born), &[]), &known);
                alarms.extend(found.filter(DuplicateReason::is_likely).map(|reason| (family, given, born, reason)));
            }
        }
    }
    assert!(others >= 50, "{others}");
    assert_eq!(alarms, []);
    let near = person("Quillfeather", "Marion", Some(births[1]), &[]);
    assert_eq!(similarity(&near, &known), None, "another family name needs the very birth date");
    let twin = person("Thistlewood", "Piers", Some(births[0]), &[]);
    assert_eq!(similarity(&twin, &known), None, "twins share family name and birth date");
    let namesake = similarity(&person("Thistlewood", "Marion", Some(births[2]), &[]), &known);
    assert_eq!(namesake, Some(DuplicateReason::Namesake), "shown, and said to be most often another person");
}

#[test]
fn similarity_says_why_and_does_not_depend_on_the_order() {
    let a = person("Thistlewood", "Marion", Some(day(1951, 8, 5)), &[]);
    let b = person("Thistelwood", "Marian", Some(day(1951, 5, 8)), &[]);
    let reason = similarity(&a, &b).unwrap();
    assert_eq!(reason, DuplicateReason::NamesAndBirth(Names::Similar, BirthDates::DayMonthSwapped));
    assert_eq!(similarity(&b, &a), Some(reason.clone()));
    assert_eq!(reason.to_string(), "A similar name and the same birth date with day and month the other way round");
    assert_eq!(compare_birth_dates(day(1951, 12, 31), day(1952, 1, 1)), Some(BirthDates::OneDayApart));
    assert_eq!(compare_birth_dates(day(1959, 8, 23), day(1960, 8, 23)), Some(BirthDates::OneDigitOfYear));
    assert_eq!(compare_birth_dates(day(1958, 8, 23), day(1960, 8, 23)), None);
    assert_eq!(compare_birth_dates(day(1951, 8, 23), day(1952, 8, 24)), None);
    assert_eq!(compare_birth_dates(day(1951, 8, 23), day(1942, 8, 23)), None, "two digits of the year differ");
}
