//! Who may be whom, on the records: 30 seeded pairs of near-duplicates are all shown before anything is saved, 50 other
//! people raise at most one false alarm (the bar of the project's usability notes), and look-up marks them too.

use chrono::{Datelike, Days, NaiveDate};
use roundel::access::roles::Role;
use roundel::db::ids::PatientId;
use roundel::patients::likely;
use roundel::patients::rules::DuplicateReason;

use crate::both_backends;
use crate::support::{Client, Page, TestApp, raw};

const FAMILIES: [&str; 30] = [
    "Thistlewood",
    "Quillfeather",
    "Harrowgate",
    "Pennyfold",
    "Marlbrook",
    "Stanwick",
    "Wetherell",
    "Ormsby",
    "Dunmore",
    "Fairlight",
    "Kelmscott",
    "Lanyon",
    "Ravensworth",
    "Silverdale",
    "Tamblyn",
    "Underhill",
    "Vickery",
    "Ashdown",
    "Birkett",
    "Colborne",
    "Eastlake",
    "Garside",
    "Hebblethwaite",
    "Ingleton",
    "Jessamy",
    "Kirkdale",
    "Loxley",
    "Millbrook",
    "Netherton",
    "Oakhurst",
];
const GIVENS: [&str; 30] = [
    "Marion",
    "Piers",
    "Agnes",
    "Tobias",
    "Mabel",
    "Edwin",
    "Rosalind",
    "Hugh",
    "Winifred",
    "Cedric",
    "Beatrix",
    "Roland",
    "Ottilie",
    "Gilbert",
    "Harriet",
    "Leopold",
    "Cordelia",
    "Ambrose",
    "Philippa",
    "Barnaby",
    "Josephine",
    "Clement",
    "Theodora",
    "Rufus",
    "Imogen",
    "Lionel",
    "Prudence",
    "Alaric",
    "Felicity",
    "Nathaniel",
];

/// Someone as typed: family name, forename, birth date.
type Someone = (String, String, NaiveDate);

/// The person on record with this number. Days up to 12, so that day and month can stand the other way round.
fn known(n: usize) -> Someone {
    let year = 1931 + i32::try_from(n * 2).unwrap();
    let born = NaiveDate::from_ymd_opt(year, u32::try_from(n % 5 + 6).unwrap(), u32::try_from(n % 4 + 2).unwrap());
    (FAMILIES[n].to_owned(), GIVENS[n].to_owned(), born.unwrap())
}

/// The same person as registered again by mistake: a slip for each pair, from the published advice (SAFER guide on
/// patient identification, 2016) and what clerks know.
fn again(n: usize) -> Someone {
    let (family, given, born) = known(n);
    let swapped = NaiveDate::from_ymd_opt(born.year(), born.day(), born.month()).unwrap();
    let year = |by: i32| born.with_year(born.year() + by).unwrap();
    let slip = |text: &str| {
        let mut letters: Vec<char> = text.chars().collect();
        letters.swap(2, 3);
        letters.into_iter().collect::<String>()
    };
    let drop_last = |text: &str| text[..text.len() - 1].to_owned();
    let initial = given[..1].to_owned();
    match n {
        0 => (family, given, born),
        1 => (family.to_uppercase(), given.to_uppercase(), born),
        2 => (slip(&family), given, born),
        3 => (drop_last(&family), given, born),
        4 => (format!("{family}e"), given, born),
        5 => (family, initial, born),
        6 => (family, String::new(), born),
        7 => (given, family, born),
        8 => (format!("{family}-Hart"), given, born),
        9 => (format!("Hart {family}"), given, born),
        10 => ("Hart".to_owned(), given, born),
        11 => (family, format!("{given} Jane"), born),
        12 => (family, given, swapped),
        13 => (family, initial, swapped),
        14 => (slip(&family), given, swapped),
        15 => (family, given, born + Days::new(1)),
        16 => (family, given, born - Days::new(1)),
        17 => (slip(&family), given, born + Days::new(1)),
        18 => (family, given, year(1)),
        19 => (family, given, year(-1)),
        20 => (family, given, year(10)),
        21 => (family, given, year(3)),
        22 => (format!("{family}s"), given, year(1)),
        23 => (family, initial, born - Days::new(1)),
        24 => (format!("H{}", &family[1..]), given, born),
        25 => (format!("C{}", &family[1..]), given, swapped),
        26 => (family.replace('o', "ó"), given, born),
        27 => (family.replace("brook", "brooke"), given, year(-1)),
        28 => (given, family, swapped),
        _ => (family.replace("hurst", "hirst"), format!("{}.", &given[..1]), born + Days::new(1)),
    }
}

/// Fifty people who are nobody on record: some share a family name, a forename, a birth date or a year with somebody.
fn other(n: usize) -> Someone {
    let (family, given, born) = known(n % 30);
    let (next, _, _) = known((n + 7) % 30);
    let (_, another, elsewhere) = known((n + 11) % 30);
    let far = NaiveDate::from_ymd_opt(born.year() + 17, born.month(), 20).unwrap();
    match n % 5 {
        // A namesake of the family, much younger.
        0 => (family, another, far),
        // The same forename on another day.
        1 => (next, given, far),
        // Born on the very day, and nothing else alike.
        2 => (format!("Zorn{n}"), format!("Xenia{n}"), born),
        // A brother or sister: family name and the day of another.
        3 => (family, format!("Ulric{n}"), elsewhere),
        _ => (format!("Yarrow{n}"), format!("Osbert{n}"), elsewhere + Days::new(40)),
    }
}

fn fill(app: &TestApp) -> Vec<PatientId> {
    (0..30)
        .map(|n| {
            let (family, given, born) = known(n);
            app.db_patient_with(&family, &given, "", 400, |patient, _| patient.born_on = Some(born)).id
        })
        .collect()
}

async fn register(client: &Client, someone: &Someone) -> Page {
    let (family, given, born) = someone;
    let (day, month, year) = (born.day().to_string(), born.format("%b").to_string(), born.year().to_string());
    client
        .post(
            "/patients/new",
            &[
                ("family_name", family),
                ("given_name", given),
                ("born_day", &day),
                ("born_month", &month),
                ("born_year", &year),
                ("gender", "female"),
                ("sensitivity", "none-known"),
                ("kind", "ileostomy"),
                ("construction", "end"),
                ("permanence", "permanent"),
                ("surgery", "planned"),
                ("surgery_on", "today"),
                ("protocol", "usual"),
            ],
        )
        .await
}

async fn find(client: &Client, typed: &str) -> Page {
    client.get("/patients").await.expect(200);
    client.post("/patients/search", &[("q", typed)]).await.expect(303);
    client.get("/patients").await.expect(200)
}

both_backends! {
    async fn thirty_pairs_are_all_shown_side_by_side_before_anything_is_saved(app: TestApp) {
        let ids = fill(&app);
        let clerk = app.as_role(Role::Clerk);
        clerk.get("/patients/new").await.expect(200);
        let mut missed = Vec::new();
        for (n, id) in ids.iter().enumerate() {
            let page = register(&clerk, &again(n)).await;
            let shown = page.attributes("table.beside thead a", "href");
            if page.status != 422 || !shown.contains(&format!("/patients/{id}")) {
                missed.push((n, again(n), page.status));
            }
        }
        assert_eq!(missed, []);
        assert_eq!(raw::count(&mut app.outside(), "patients"), 30, "something was saved");
        // What was typed and the record stand side by side, with words for what is not known.
        let page = register(&clerk, &again(12)).await;
        let lines = page.select_text("table.beside tbody tr");
        assert!(lines.iter().any(|l| l == "Born08-Feb-1955 (71y)02-Aug-1955 (71y)"), "{lines:?}");
        assert!(lines.iter().any(|l| l == "NumbersNo number recordedNo number recorded"), "{lines:?}");
        assert!(page.words().contains("day and month the other way round"));
        assert!(page.select_text("table.beside td").iter().all(|cell| !cell.is_empty()), "an empty cell: {lines:?}");
        // The most alike stands first.
        let before = app.last_event();
        register(&clerk, &again(0)).await.expect(422);
        let seen: Vec<PatientId> = app.events_after(before).iter().flat_map(|e| app.subjects_of(e.seq)).collect();
        assert!(seen.contains(&ids[0]), "who was shown is in the log");
    }

    async fn fifty_others_raise_at_most_one_false_alarm(app: TestApp) {
        fill(&app);
        let service = app.service_id;
        let mut alarms = Vec::new();
        for someone in (0..50).map(other) {
            let (family, given, born) = &someone;
            let found = app.read(|conn| likely::duplicates(conn, service, family, given, Some(*born), &[]));
            let likely: Vec<DuplicateReason> =
                found.into_iter().map(|l| l.reason).filter(DuplicateReason::is_likely).collect();
            if !likely.is_empty() {
                alarms.push((someone, likely));
            }
        }
        assert!(alarms.len() <= 1, "{} of 50: {alarms:?}", alarms.len());
        println!("false alarms: {} of 50", alarms.len());
    }

    async fn look_up_marks_who_may_be_the_same_person(app: TestApp) {
        let at = |day, month| move |p: &mut roundel::patients::store::Patient, _: &mut roundel::stomas::store::Stoma| {
            p.born_on = NaiveDate::from_ymd_opt(1951, month, day);
        };
        let one = app.db_patient_with("Philips", "Marion", "999 000 0042", 400, at(5, 8));
        // Another first letter, day and month the other way round: not on the same page of names, and found all the same.
        let two = app.db_patient_with("Fillips", "Mary", "", 400, at(8, 5));
        let namesake = app.db_patient_with("Philips", "Marion", "999 000 0050", 400, |p, _| p.born_on = NaiveDate::from_ymd_opt(1980, 1, 20));
        let clerk = app.as_role(Role::Clerk);
        let before = app.last_event();
        let page = find(&clerk, "philips").await;
        let marks = page.select_text(".same-name");
        let told: Vec<&String> = marks.iter().filter(|m| m.contains("May be the same person as")).collect();
        assert_eq!(told.len(), 1, "{marks:?}");
        assert!(told[0].contains("FILLIPS, Mary, born 08-May-1951, no number recorded"), "{told:?}");
        assert!(told[0].contains("A similar name and the same birth date with day and month the other way round"), "{told:?}");
        assert!(page.attributes(".same-name a", "href").contains(&format!("/patients/{}", two.id)));
        // The namesake is marked as one, and not as the same person.
        assert_eq!(marks.iter().filter(|m| m.contains("Same name as another here")).count(), 2, "{marks:?}");
        // Whoever stands on the page counts as seen.
        let seen: Vec<PatientId> = app.events_after(before).iter().flat_map(|e| app.subjects_of(e.seq)).collect();
        for id in [one.id, two.id, namesake.id] {
            assert!(seen.contains(&id));
        }
        // A record without a birth date and one with: the same name is enough for a mark.
        let undated = app.db_patient_with("Philips", "Marion", "999 000 0069", 400, |p, _| p.born_on = None);
        let page = find(&clerk, "999 000 0069").await;
        let told = page.select_text(".same-name");
        assert!(told.iter().any(|m| m.contains("the birth date of one of them is not known")), "{told:?}");
        assert!(page.attributes(".same-name a", "href").iter().all(|href| !href.contains(&undated.id.to_string())));
        // Another service's twin is nobody here.
        let elsewhere = app.add_service("Another Service");
        let stranger = app.as_roles(elsewhere, &[Role::Clerk]);
        stranger.get("/patients/new").await.expect(200);
        register(&stranger, &("Philips".to_owned(), "Marion".to_owned(), NaiveDate::from_ymd_opt(1951, 8, 5).unwrap())).await.expect(303);
        let page = find(&stranger, "philips").await;
        assert!(page.select_text(".same-name").is_empty() && page.select_text(".row-name").len() == 1);
        assert_eq!(find(&clerk, "philips").await.select_text(".row-name").len(), 3);
    }

    /// The rules for lists of patients (UK Common User Interface, Patient List View: PLI029, PLI044, PLI108, PLI116; NHS
    /// service manual, Table: no empty cells; Patient Banner PAB-0015: none where several patients stand).
    async fn a_result_of_a_search_keeps_the_rules_for_lists(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let clerk = app.as_role(Role::Clerk);
        app.db_patient("Thistlewood", "Marion", "999 000 0042", 40);
        app.db_patient_with("Thistlewood", "Marion", "", 40, |p, _| p.born_on = NaiveDate::from_ymd_opt(1975, 2, 1));
        let bare = roundel::patients::store::new_patient(app.service_id, "Thistlewood", "Zoe", app.now());
        let local = roundel::patients::identifiers::Identifier::parse(roundel::patients::identifiers::Scheme::Local, "A-77").unwrap();
        app.write(move |tx| roundel::patients::store::add(tx, bare, &[local]));
        for (who, clinical) in [(&nurse, true), (&clerk, false)] {
            let page = find(who, "thistle").await;
            assert!(!page.has("section.patient"), "a banner on a list");
            assert_eq!(page.select_text(".row-name").len(), 3);
            for ids in page.select_text(".row-ids") {
                assert!(ids.contains("Born") && (ids.contains("No.") || ids.contains("No number recorded")), "{ids}");
            }
            // A local number is not called an NHS number.
            let zoe = page.select_text("tbody tr").into_iter().find(|row| row.contains("Zoe")).unwrap();
            assert!(zoe.contains("Local No. A-77") && !zoe.contains("NHS No."), "{zoe}");
            assert!(zoe.contains("Born Not known") && zoe.contains("No stoma recorded"), "{zoe}");
            assert_eq!(page.select_text(".same-name").iter().filter(|m| m.contains("check the date of birth")).count(), 2);
            let words = page.words();
            assert!(words.contains("Sorted by name") && words.contains("Only people whose name or number fits “thistle”"), "{words}");
            let cells = page.select_text("table.found tbody td:not(.c-mark), table.found .second, table.found .first");
            assert!(cells.iter().all(|cell| !cell.is_empty()), "{cells:?}");
            // What a role does not see is not said to be missing.
            assert_eq!(page.has("table.found .c-score"), clinical);
        }
        let page = find(&nurse, "23/8/1951").await;
        assert!(page.words().contains("Only people born on 23-Aug-1951"), "{}", page.words());
    }
}
