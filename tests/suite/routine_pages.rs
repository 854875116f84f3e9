//! The change routine: which steps follow from a list (pure), and its page and paper through HTTP on both databases.

use std::collections::BTreeSet;

use roundel::access::roles::Role;
use roundel::supplies::rules::{ItemCategory, NoRoutine, StomaKind, load_routine_rules, routine, routine_rules};

use crate::both_backends;
use crate::supplies_pages::{NHS, draft, id_of, pages, sign, stocked};
use crate::support::{Client, Page};

use ItemCategory::*;

/// Ids of the steps of a list.
fn steps(kind: StomaKind, items: &[ItemCategory]) -> Vec<&'static str> {
    let made = routine(kind, items).expect("a routine");
    made.steps.iter().map(|step| step.rule.id.as_str()).collect()
}

#[test]
fn the_data_can_be_read_and_name_every_kind_of_item_once_over() {
    let rules = load_routine_rules().expect("routine.toml");
    for item in ItemCategory::ALL {
        let at = rules.steps.iter().filter(|step| step.items.contains(item)).count();
        let outside = rules.not_covered.contains(item);
        assert!((at > 0) != outside, "{}: at {at} steps, not covered: {outside}", item.code());
    }
    let ids: BTreeSet<&str> = rules.steps.iter().map(|step| step.id.as_str()).collect();
    assert_eq!(ids.len(), rules.steps.len(), "no step stands there twice");
    assert!(rules.steps.iter().all(|step| !step.source.source.is_empty()));
    assert_eq!(&rules, routine_rules());
}

/// The order that stoma care nurses teach (common practice): ready, emptied, off, clean, looked at, skin, hole, seal,
/// closed, on, away.
#[test]
fn a_drainable_one_piece_pouch_is_emptied_first_and_closed_before_it_goes_on() {
    let items = [OnePieceDrainable, Ring, AdhesiveRemoverSpray, BarrierFilmWipe];
    let expected = [
        "ready",
        "empty",
        "loosen",
        "peel_pouch",
        "clean",
        "look",
        "film",
        "hole",
        "seal",
        "close",
        "put_pouch",
        "away",
    ];
    assert_eq!(steps(StomaKind::Ileostomy, &items), expected);
}

#[test]
fn each_system_has_its_own_steps() {
    let closed = steps(StomaKind::Colostomy, &[OnePieceClosed]);
    assert!(!closed.contains(&"empty") && !closed.contains(&"close"), "a closed pouch is not emptied: {closed:?}");
    let two = steps(StomaKind::Ileostomy, &[TwoPieceDrainablePouch, Flange, Belt]);
    assert!(two.contains(&"peel_plate") && !two.contains(&"peel_pouch") && !two.contains(&"put_pouch"), "{two:?}");
    let at = |id: &str| two.iter().position(|step| *step == id).unwrap_or_else(|| panic!("{id}: {two:?}"));
    assert!(at("hole") < at("put_plate") && at("put_plate") < at("join") && at("join") < at("belt"));
    let urine = steps(StomaKind::Urostomy, &[OnePieceUrostomy, NightBag]);
    for id in ["empty_urine", "close_tap", "bags"] {
        assert!(urine.contains(&id), "{id}: {urine:?}");
    }
    assert!(!urine.contains(&"empty"));
    assert!(!steps(StomaKind::Urostomy, &[OnePieceUrostomy]).contains(&"bags"), "no step for what is not on the list");
}

#[test]
fn every_line_is_at_a_step_or_said_not_to_be_covered() {
    for (kind, lines) in crate::patient_words::fullest() {
        let items: Vec<ItemCategory> = lines.iter().map(|line| line.category).collect();
        let made = routine(kind, &items).expect("a routine");
        let mut placed: BTreeSet<usize> = made.steps.iter().flat_map(|step| step.lines.iter().copied()).collect();
        assert!(made.not_covered.iter().all(|line| placed.insert(*line)));
        assert_eq!(placed.len(), items.len());
        let outside: Vec<ItemCategory> = made.not_covered.iter().map(|at| items[*at]).collect();
        assert_eq!(outside, [IrrigationKit, IrrigationSleeve, StomaPlug, StomaCap]);
    }
}

#[test]
fn no_routine_follows_from_a_list_that_does_not_fit_together() {
    let refused = |items: &[ItemCategory]| routine(StomaKind::Ileostomy, items).unwrap_err();
    assert_eq!(refused(&[]), NoRoutine::NoPouch);
    assert_eq!(refused(&[Ring, StomaCap]), NoRoutine::NoPouch);
    assert_eq!(refused(&[OnePieceDrainable, Flange]), NoRoutine::TwoSystems);
    assert_eq!(refused(&[OnePieceDrainable, TwoPieceDrainablePouch, Flange]), NoRoutine::TwoSystems);
    assert_eq!(refused(&[TwoPieceDrainablePouch]), NoRoutine::HalfSystem);
    assert_eq!(refused(&[Flange]), NoRoutine::HalfSystem);
    assert_eq!(refused(&[OnePieceDrainable, OnePieceClosed]), NoRoutine::TwoPouchKinds);
}

/// A urostomy drains urine: no warning of a blocked bowel, but one of no urine, and the other way round.
#[test]
fn reasons_to_ring_fit_the_kind_of_stoma_and_the_urgent_come_first() {
    let cautions = |kind, items: &[ItemCategory]| -> Vec<(&'static str, bool)> {
        let made = routine(kind, items).expect("a routine");
        made.cautions.iter().map(|one| (one.id.as_str(), one.urgent)).collect()
    };
    let urine = cautions(StomaKind::Urostomy, &[OnePieceUrostomy]);
    let bowel = cautions(StomaKind::Ileostomy, &[OnePieceDrainable]);
    let has = |all: &[(&str, bool)], id: &str| all.iter().any(|(known, _)| *known == id);
    assert!(has(&urine, "no_urine") && !has(&urine, "blocked") && !has(&urine, "dry"));
    assert!(!has(&bowel, "no_urine") && has(&bowel, "blocked") && has(&bowel, "dry"));
    for all in [urine, bowel] {
        assert!(has(&all, "dark") && has(&all, "bleeding") && has(&all, "skin"));
        let first_calm = all.iter().position(|(_, urgent)| !urgent).expect("a calm one");
        assert!(all[first_calm..].iter().all(|(_, urgent)| !urgent));
    }
}

/// The paper of a routine; identity and page number are on every page of it.
async fn paper(who: &Client, list: &str, query: &str) -> Vec<String> {
    let pdf = who.get(&format!("{list}/routine.pdf{query}")).await.expect(200);
    assert_eq!(pdf.header("content-type"), Some("application/pdf"));
    let name = pdf.header("content-disposition").unwrap_or_default().to_owned();
    assert!(name.contains("change-routine-2026-11-25-version-1.pdf"), "{name}");
    let pages = pages(&pdf);
    for (index, page) in pages.iter().enumerate() {
        for words in
            ["THISTLEWOOD, Marion", "Born 23 August 1951", NHS, &format!("Page {} of {}", index + 1, pages.len())]
        {
            assert!(page.replace('\u{a0}', " ").contains(words), "{words}: {page}");
        }
    }
    pages
}

fn step<'p>(page: &'p Page, steps: &'p [String], title: &str) -> &'p str {
    let found = steps.iter().find(|step| step.contains(title));
    found.unwrap_or_else(|| panic!("no step “{title}”: {}", page.words()))
}

both_backends! {
    async fn a_signed_list_gives_the_steps_with_the_patients_own_items(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let ring = id_of(&items, "ring-mouldable-50");
        let list = draft(&prescriber, &held, &[(&pouch, "1", "2", ""), (&ring, "1", "2", "Crease")]).await;
        // A draft gives none, as page or as paper.
        let early = prescriber.get(&format!("{list}/routine")).await.expect(200);
        assert!(early.words().contains("signed list only") && !early.has("article.routine"), "{}", early.words());
        let sent_on = prescriber.get(&format!("{list}/routine.pdf")).await.expect(303);
        assert_eq!(sent_on.location(), Some(format!("{list}/routine")));
        sign(&prescriber, &list).await.expect(303);

        let nurse = app.as_role(Role::Nurse);
        let before = app.last_event();
        let page = nurse.get(&format!("{list}/routine")).await.expect(200);
        assert!(page.has("section.patient"), "a page about one patient has the banner");
        let event = app.events_after(before).into_iter().find(|event| event.what == "prescription.routine");
        assert_eq!(app.subjects_of(event.expect("the view is logged").seq), [held.id]);
        let steps = page.select_text("article.routine > ol > li");
        assert_eq!(steps.len(), 10, "{steps:#?}");
        assert!(steps[0].starts_with("1. Get ready") && steps[9].starts_with("10. Throw"), "{steps:#?}");
        let name = &items.iter().find(|item| item.code == "one-piece-drainable-flat-cut").unwrap().name;
        assert!(step(&page, &steps, "Put the new pouch on").contains(name.as_str()));
        assert!(step(&page, &steps, "Put the new pouch on").contains("You use 1 every 2 days."));
        let seal = step(&page, &steps, "Fill the gaps");
        assert!(seal.contains("Ring") && !seal.contains("every"), "how often an accessory is used is no dose: {seal}");
        let words = page.words();
        for said in ["your ileostomy", "25 November 2026", "version 1", "Get help at once if", "Ring the stoma nurse if", "do as they say"] {
            assert!(words.contains(said), "{said}: {words}");
        }
        // No number of the service is known: none is made up.
        assert!(words.contains("the number your nurse gave you"), "{words}");
        assert!(page.select_text("section[aria-labelledby=h-sources] li").len() >= 10, "sources for staff");
        assert!(!page.has("select[name=language]"), "one language is no choice");

        // On paper, in both sizes, the same steps.
        let usual = paper(&nurse, &list, "").await;
        let larger = paper(&nurse, &list, "?size=larger").await;
        assert!(larger.len() > usual.len() && usual.len() >= 3, "{} and {} pages", usual.len(), larger.len());
        for pages in [usual, larger] {
            let all = pages.join(" ").replace('\u{a0}', " ");
            for said in ["1. Get ready", "10. Throw the old things away", name.as_str(), "Get help at once if", "Printed by Nurse"] {
                let squeezed = |text: &str| text.split_whitespace().collect::<String>();
                assert!(squeezed(&all).contains(&squeezed(said)), "{said}: {all}");
            }
        }
        // Another language than those that are there is refused, not replaced in silence.
        nurse.get(&format!("{list}/routine?language=xx")).await.expect(400);
        nurse.get(&format!("{list}/routine.pdf?language=xx")).await.expect(400);
        nurse.get(&format!("{list}/routine?language=en-GB")).await.expect(200);

        // A later list takes its place: the old sheet must not be handed out again.
        let second = draft(&prescriber, &held, &[(&pouch, "1", "1", "")]).await;
        sign(&prescriber, &second).await.expect(303);
        let old = nurse.get(&format!("{list}/routine")).await.expect(200);
        assert!(old.words().contains("not in force") && !old.has("article.routine"), "{}", old.words());
    }

    async fn what_is_not_covered_is_said_and_a_mixed_list_is_refused(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient_with("Thistlewood", "Marion", NHS, 400, |_, stoma| stoma.kind = "colostomy".to_owned());
        let pouch = id_of(&items, "one-piece-closed-flat-cut");
        let irrigation = items.iter().find(|item| item.category == "irrigation-sleeve").expect("a sleeve");
        let list = draft(&prescriber, &held, &[(&pouch, "1", "1", ""), (&irrigation.id.to_string(), "1", "2", "")]).await;
        sign(&prescriber, &list).await.expect(303);
        let page = prescriber.get(&format!("{list}/routine")).await.expect(200);
        let words = page.words();
        assert!(words.contains("Other items on your list") && words.contains(irrigation.name.as_str()), "{words}");
        assert!(words.contains("Use them only as your nurse has shown you"), "{words}");
        assert!(!page.select_text("article.routine > ol > li").iter().any(|step| step.contains(irrigation.name.as_str())));

        let other = app.db_patient("Ashgrove", "Edith", "999 000 0050", 40);
        let night = items.iter().find(|item| item.category == "ring").expect("a ring").id.to_string();
        let bare = draft(&prescriber, &other, &[(&night, "1", "2", "Crease")]).await;
        sign(&prescriber, &bare).await.expect(303);
        let page = prescriber.get(&format!("{bare}/routine")).await.expect(200);
        assert!(page.words().contains("no pouch") && !page.has("article.routine"), "{}", page.words());
    }

    async fn nobody_of_another_service_is_given_a_routine(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let list = draft(&prescriber, &held, &[(&pouch, "1", "2", "")]).await;
        sign(&prescriber, &list).await.expect(303);
        let elsewhere = app.add_service("Another Community Health");
        let stranger = app.as_roles(elsewhere, &[Role::Prescriber]);
        for path in ["routine", "routine.pdf", "summary.pdf?size=large"] {
            stranger.get(&format!("{list}/{path}")).await.expect(404);
        }
    }

    async fn the_patients_edition_says_what_changed_and_leaves_the_checks_to_the_clinic(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let (ring, wipe) = (id_of(&items, "ring-mouldable-50"), id_of(&items, "adhesive-remover-wipe"));
        let first = draft(&prescriber, &held, &[(&pouch, "1", "1", ""), (&ring, "1", "2", "Crease")]).await;
        sign(&prescriber, &first).await.expect(303);
        let said = |pages: Vec<String>| pages.join(" ").replace('\u{a0}', " ");
        let one = said(pages(&prescriber.get(&format!("{first}/summary.pdf?size=large")).await.expect(200)));
        assert!(one.contains("Your stoma supplies") && one.contains("This is your first list."), "{one}");
        let second = draft(&prescriber, &held, &[(&pouch, "5", "1", ""), (&wipe, "1", "1", "Skin marks")]).await;
        sign(&prescriber, &second).await.expect(303);
        let two = said(pages(&prescriber.get(&format!("{second}/summary.pdf?size=large")).await.expect(200)));
        for words in ["New: Adhesive remover wipe", "Stopped: Ring", "Do not order it any more", "Now you use 5 a day", "Why: Skin marks"] {
            assert!(two.contains(words), "{words}: {two}");
        }
        // What asks the clinic to look again stands in its own edition, with the source; it would alarm nobody else.
        let clinic = said(pages(&prescriber.get(&format!("{second}/summary.pdf")).await.expect(200)));
        assert!(clinic.contains("What the check found") && !two.contains("What the check found"), "{clinic}");
        let old = said(pages(&prescriber.get(&format!("{first}/summary.pdf?size=large")).await.expect(200)));
        assert!(old.contains("There is a newer list. Do not order from this one."), "{old}");
    }
}
