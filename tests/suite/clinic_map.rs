//! The clock map on the clinic form: marked by cell or by range, counted by geometry, overruled with a reason, compared
//! with last time; causes suggested and not chosen; what a colleague signed meanwhile. Both databases.

use roundel::access::roles::Role;
use roundel::skin::rules::calibration::range;
use roundel::skin::rules::{Domain, Finding, Plate, SkinMap, Stoma, shares};
use roundel::skin::store::{self as skin, AssessmentRow, Inputs, StomaFound};

use crate::both_backends;
use crate::support::{Client, Page, Someone, TestApp};

const NHS: &str = "999 000 0042";

fn assessments(app: &TestApp, of: &Someone) -> Vec<AssessmentRow> {
    let (service, id) = (app.service_id, of.id);
    app.read(move |conn| skin::of_patient(conn, service, id, true))
}

fn hidden(page: &Page) -> Vec<(String, String)> {
    ["patient", "once", "assessment", "amends", "base", "checked"]
        .into_iter()
        .map(|name| (name.to_owned(), page.value(name).unwrap_or_default()))
        .collect()
}

/// The cells that are marked on a page, as a browser would send them.
fn marked(page: &Page) -> Vec<String> {
    let mut values = page.attributes("select[name=cells] option[selected]", "value");
    values.retain(|value| !value.is_empty());
    values
}

async fn send(client: &Client, of: &Someone, page: &Page, cells: &[String], fields: &[(&str, &str)]) -> Page {
    let hidden = hidden(page);
    let mut all: Vec<(&str, &str)> = hidden.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    all.extend(cells.iter().map(|cell| ("cells", cell.as_str())));
    all.extend(fields);
    client.post(&format!("/patients/{}/contacts/new", of.id), &all).await
}

async fn opened(client: &Client, of: &Someone) -> Page {
    client.get(&format!("/patients/{}/contacts/new", of.id)).await.expect(200)
}

/// A visit with sore skin and all that the map needs; severities, but no area chosen.
const MAPPED: [(&str, &str); 14] = [
    ("mode", "clinic"),
    ("review", "no"),
    ("on", "today"),
    ("leaks", "3"),
    ("leak_hour", "6"),
    ("width", "30"),
    ("height", "30"),
    ("plate", "100"),
    ("colour", "red"),
    ("skin_clear", "no"),
    ("discolouration_severity", "2"),
    ("erosion_severity", "1"),
    ("next", "proposed"),
    ("gap", "5"),
];

const RANGE: [(&str, &str); 5] =
    [("act", "mark"), ("range_finding", "discoloured"), ("range_from", "3"), ("range_to", "9"), ("range_ring", "all")];

both_backends! {
    async fn a_range_is_marked_and_the_areas_follow_by_geometry(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let page = opened(&nurse, &held).await;
        assert_eq!(page.attributes("select[name=cells]", "aria-label").len(), 36, "every cell is a labelled control");
        assert!(page.attributes("select[name=cells]", "aria-label").contains(&"3 o'clock, next to the stoma".to_owned()));
        assert!(marked(&page).is_empty() && !page.has("select[name=cells] option[selected]:not([value=''])"));
        let mut fields: Vec<(&str, &str)> = MAPPED.to_vec();
        fields.extend(RANGE);
        let page = send(&nurse, &held, &page, &[], &fields).await.expect(200);
        assert_eq!(marked(&page).len(), 21, "seven hours, three rings");
        // Over twelve, in one ring, and worse than what was there.
        let mut fields: Vec<(&str, &str)> = MAPPED.to_vec();
        fields.extend([("act", "mark"), ("range_finding", "eroded"), ("range_from", "11"), ("range_to", "1"), ("range_ring", "1")]);
        let page = send(&nurse, &held, &page, &marked(&page), &fields).await.expect(200);
        let cells = marked(&page);
        assert!(cells.contains(&"12-1-eroded".to_owned()) && cells.len() == 24, "{cells:?}");
        assert!(page.words().contains("Of the skin under the plate by the map"), "{}", page.words());
        // No area is chosen: they are the map's. Worked out again by the engine that is checked against shapely.
        let check = send(&nurse, &held, &page, &cells, &MAPPED).await.expect(200);
        let map = SkinMap {
            stoma: Stoma { width_mm: 30.0, height_mm: 30.0 },
            plate: Plate { diameter_mm: 100.0, offset_x_mm: 0.0, offset_y_mm: 0.0 },
            rings: 3,
            cells: range(3, 9, &[1, 2, 3], Finding::Discoloured).into_iter()
                .chain(range(11, 1, &[1], Finding::Eroded)).collect(),
        };
        let by_map = shares(&map).expect("shares");
        let points = Domain::ALL.map(|domain| by_map.area(domain).points());
        assert_eq!(points, [3, 1, 0]);
        assert!(check.words().contains("Score 7 of 15"), "3 + 2 and 1 + 1: {}", check.words());
        send(&nurse, &held, &check, &cells, &MAPPED).await.expect(303);
        let kept = assessments(&app, &held);
        assert_eq!((kept[0].discolouration, kept[0].erosion, kept[0].overgrowth), (5, 2, 0));
        let inputs: Inputs = kept[0].inputs.read().unwrap();
        assert!((inputs.map.shares.unwrap().discolouration - by_map.discolouration).abs() < 1e-9);
        assert!(inputs.map.overruled.is_empty());
        let (service, id) = (app.service_id, held.id);
        let maps = app.read(move |conn| skin::maps_of(conn, service, id));
        assert_eq!(maps[&kept[0].id].len(), 24);
        // The roundel of the list shows it, with the same in words; a clerk sees the kind alone.
        let week = nurse.get("/week").await;
        assert!(week.attributes("svg.roundel", "aria-label").iter().any(|w| w.contains("eroded 11 to 1 o'clock")));
        let clerk = app.as_role(Role::Clerk).get("/week").await.expect(200);
        assert!(!clerk.attributes("svg.roundel", "aria-label").iter().any(|w| w.contains("eroded")));
        let over_time = nurse.get(&format!("/patients/{}/skin", held.id)).await.expect(200);
        assert!(over_time.has("ul.maps svg.map path.eroded"));
    }

    async fn an_area_is_overruled_with_a_reason_and_both_are_kept(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let page = opened(&nurse, &held).await;
        let cells: Vec<String> = (5..=7).map(|hour| format!("{hour}-1-discoloured")).collect();
        let mut fields: Vec<(&str, &str)> = MAPPED.iter().filter(|(n, _)| *n != "erosion_severity").copied().collect();
        fields.push(("discolouration_area", "2"));
        let back = send(&nurse, &held, &page, &cells, &fields).await.expect(422);
        assert!(back.words().contains("Write why an area is judged otherwise"), "{}", back.words());
        assert_eq!(marked(&back).len(), 3, "the map comes back");
        fields.push(("area_reason", "The skin between the marks is warm as well"));
        let check = send(&nurse, &held, &back, &cells, &fields).await.expect(200);
        send(&nurse, &held, &check, &cells, &fields).await.expect(303);
        let inputs: Inputs = assessments(&app, &held)[0].inputs.read().unwrap();
        assert_eq!(inputs.judged.discolouration.area_points, 2);
        let overruled = &inputs.map.overruled[0];
        assert_eq!((overruled.domain.as_str(), overruled.by_map, overruled.judged), ("discolouration", 1, 2));
        let page = nurse.get(&format!("/patients/{}/skin", held.id)).await;
        assert!(page.words().contains("by the map 1: The skin between the marks is warm as well"), "{}", page.words());
    }

    async fn what_cannot_be_is_refused(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let page = opened(&nurse, &held).await;
        let cells = ["6-1-eroded".to_owned()];
        let with = |change: &[(&'static str, &'static str)]| {
            let mut fields: Vec<(&str, &str)> =
                MAPPED.iter().filter(|(n, _)| !change.iter().any(|(c, _)| c == n)).copied().collect();
            fields.extend(change.iter().filter(|(_, v)| !v.is_empty()));
            fields
        };
        for (change, words) in [
            (&[("skin_clear", "yes"), ("discolouration_severity", ""), ("erosion_severity", "")][..], "choose “Not clear”"),
            (&[("plate", "")][..], "or enter size of stoma and plate"),
            (&[("plate", "25")][..], "must hold the whole stoma"),
            (&[("erosion_severity", "")][..], "Choose the severity of erosion"),
            (&[("range_finding", "eroded")][..], "Press “Mark the range”"),
            (&[("leaks", "0")][..], "No leak is entered"),
            (&[("gap", "a lot")][..], "Enter the gap in mm"),
            (&[("prolapse", "40")][..], "Tick whether it goes back"),
            (&[("parted_from", "3")][..], "Tick how the edge has parted"),
            (&[("itch", "11")][..], "the itch"),
        ] {
            let back = send(&nurse, &held, &page, &cells, &with(change)).await.expect(422);
            let wrong = back.select_text("#error-summary li").join(" | ");
            assert!(wrong.contains(words), "{words}: {wrong}");
            for target in back.attributes("#error-summary a", "href") {
                assert!(back.has(&format!("[id=\"{}\"]", target.trim_start_matches('#'))), "{target} leads nowhere");
            }
        }
        for cell in ["13-1-eroded", "6-4-eroded", "6-1-purple", "x"] {
            let back = send(&nurse, &held, &page, &[cell.to_owned()], &MAPPED).await.expect(422);
            assert!(back.words().contains("The map did not arrive whole"), "{cell}");
        }
        let back = send(&nurse, &held, &page, &[], &[("act", "mark"), ("range_from", "3")]).await.expect(422);
        assert!(back.words().contains("Choose what to mark") && back.words().contains("Choose the last hour"));
        assert!(assessments(&app, &held).is_empty());
    }

    async fn last_time_is_offered_and_counts_only_once_it_is_confirmed(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let page = opened(&nurse, &held).await;
        let before: Vec<String> = ["5-1-eroded", "6-1-eroded", "7-1-discoloured"].map(str::to_owned).to_vec();
        let check = send(&nurse, &held, &page, &before, &MAPPED).await.expect(200);
        send(&nurse, &held, &check, &before, &MAPPED).await.expect(303);
        app.wait(chrono::Duration::days(20));
        let nurse = app.as_role(Role::Nurse);
        let page = opened(&nurse, &held).await;
        // Last visit's map stands behind and beside; nothing of it is taken over.
        assert!(page.has(".wedge.was-eroded.h6.k1") && page.has(".map-figure svg.map"));
        assert!(marked(&page).is_empty());
        assert!(page.words().contains("confirm: width 30 mm, height 30 mm, gap 5 mm, plate 100 mm, centred"), "{}", page.words());
        assert!(!page.has("input[name=stoma_same][checked]"));
        let now: Vec<String> = ["6-1-discoloured", "10-1-discoloured"].map(str::to_owned).to_vec();
        let fields: Vec<(&str, &str)> = MAPPED
            .iter()
            .filter(|(n, _)| !matches!(*n, "width" | "height" | "plate" | "gap" | "erosion_severity"))
            .copied()
            .collect();
        let back = send(&nurse, &held, &page, &now, &fields).await.expect(422);
        assert!(back.words().contains("Say whether the size is as last time"));
        assert!(back.words().contains("New or worse since last time: discoloured 10 o'clock, next to the stoma"), "{}", back.words());
        assert!(back.words().contains("Healed since last time: eroded 5 o'clock, next to the stoma"), "{}", back.words());
        let mut confirmed = fields;
        confirmed.push(("stoma_same", "yes"));
        let check = send(&nurse, &held, &back, &now, &confirmed).await.expect(200);
        send(&nurse, &held, &check, &now, &confirmed).await.expect(303);
        let kept = assessments(&app, &held);
        let found: StomaFound = kept[0].findings.read().unwrap();
        assert_eq!((found.width_mm, found.gap_mm, found.plate.map(|p| p.diameter_mm)), (Some(30), Some(5.0), Some(100)));
        assert_eq!((kept[0].score, kept[1].score), (3, 5));
    }

    async fn causes_are_listed_with_signs_for_and_against_and_none_is_chosen(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let page = opened(&nurse, &held).await;
        assert!(!page.has("#likely"), "nothing was found yet");
        let mut fields: Vec<(&str, &str)> = MAPPED.to_vec();
        fields.extend([("act", "causes"), ("itch", "6"), ("signs", "satellites"), ("signs", "purple-edge")]);
        let cells = ["6-1-eroded".to_owned()];
        let page = send(&nurse, &held, &page, &cells, &fields).await.expect(200);
        let titles = page.select_text("#likely summary");
        assert!(titles[0].starts_with("To be handed on: Pyoderma gangrenosum"), "{titles:?}");
        assert!(titles.iter().any(|t| t == "Yeast") && titles.iter().any(|t| t.starts_with("Output on the skin")), "{titles:?}");
        let words = page.words();
        for part in ["Follow your local escalation policy", "small spots around the edge", "affected where the leak runs", "above 3 mm all round", "published, read"] {
            assert!(words.to_lowercase().contains(&part.to_lowercase()), "{part}");
        }
        assert!(!page.has("input[name=cause][checked]"), "the nurse decides");
        assert_eq!(page.attributes("input[name=signs][checked]", "value"), ["satellites", "purple-edge"]);
        // The check before signing offers codes for the cause that was decided, and says which exclude one another.
        let mut fields: Vec<(&str, &str)> = MAPPED.to_vec();
        fields.push(("cause", "infection"));
        let check = send(&nurse, &held, &page, &cells, &fields).await.expect(200);
        assert!(check.words().contains("Excludes1"), "{}", check.words());
        fields.retain(|(n, _)| *n != "cause");
        fields.push(("cause", "nonsense"));
        send(&nurse, &held, &check, &cells, &fields).await.expect(422);
    }

    async fn two_who_assess_at_once_see_each_other(app: TestApp) {
        let (one, other) = (app.as_role(Role::Nurse), app.as_role(Role::Nurse));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let (mine, theirs) = (opened(&one, &held).await, opened(&other, &held).await);
        let cells = ["6-1-eroded".to_owned()];
        let check = send(&other, &held, &theirs, &cells, &MAPPED).await.expect(200);
        send(&other, &held, &check, &cells, &MAPPED).await.expect(303);
        let clear = [("mode", "clinic"), ("review", "no"), ("on", "today"), ("colour", "red"), ("skin_clear", "yes"), ("next", "planned"), ("plan", "No change")];
        let back = one_sends(&one, &held, &mine, &clear).await.expect(409);
        let words = back.words();
        assert!(words.contains("Signed meanwhile") && words.contains("Eroded 6 o'clock, next to the stoma"), "{words}");
        assert!(words.contains("No change") && words.contains("of 15"));
        assert_eq!(assessments(&app, &held).len(), 1, "nothing of mine is signed");
        // What is signed next rests on what was shown.
        let mut fields = clear.to_vec();
        fields.push(("stoma_same", "yes"));
        let next = one_sends(&one, &held, &back, &fields).await;
        if next.status == 200 {
            one_sends(&one, &held, &next, &fields).await.expect(303);
        } else {
            next.expect(303);
        }
        assert_eq!(assessments(&app, &held).len(), 2);
    }

    async fn a_draft_brings_the_map_back(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let page = opened(&nurse, &held).await;
        let place = page.value("draft_at").expect("the form keeps a draft");
        let hidden = hidden(&page);
        let mut all: Vec<(&str, &str)> = hidden.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        all.extend([("draft_at", place.as_str()), ("cells", "6-1-eroded"), ("cells", ""), ("cells", "7-1-discoloured")]);
        all.extend([("itch", "4"), ("signs", "satellites"), ("skin_clear", "no")]);
        nurse.post("/drafts", &all).await.expect(303);
        assert!(assessments(&app, &held).is_empty(), "a draft is not signed by itself");
        let again = opened(&nurse, &held).await;
        assert_eq!(marked(&again), ["6-1-eroded", "7-1-discoloured"]);
        assert_eq!(again.value("itch").as_deref(), Some("4"));
        assert!(again.has("input[name=signs][value=satellites][checked]"));
        assert_eq!(again.value("base"), page.value("base"), "what was signed meanwhile will be shown");
        // Nobody else is given it.
        assert!(marked(&opened(&app.as_role(Role::Nurse), &held).await).is_empty());
    }

    async fn two_who_amend_at_once_see_each_other(app: TestApp) {
        let (one, other) = (app.as_role(Role::Nurse), app.as_role(Role::Nurse));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 400);
        let cells = ["6-1-eroded".to_owned()];
        let page = opened(&one, &held).await;
        let check = send(&one, &held, &page, &cells, &MAPPED).await;
        send(&one, &held, &check, &cells, &MAPPED).await.expect(303);
        let first = assessments(&app, &held)[0].id;
        let address = format!("/patients/{}/contacts/new?amend={first}", held.id);
        let (mine, theirs) = (one.get(&address).await.expect(200), other.get(&address).await.expect(200));
        assert_eq!(marked(&mine), cells, "it opens as it was signed");
        let mut fields = MAPPED.to_vec();
        fields.extend([("amend_reason", "The leak was at seven"), ("cause", "output-on-skin")]);
        let check = send(&other, &held, &theirs, &cells, &fields).await.expect(200);
        send(&other, &held, &check, &cells, &fields).await.expect(303);
        let second = assessments(&app, &held).into_iter().find(|a| a.status == "signed").unwrap().id;
        let back = send(&one, &held, &mine, &cells, &fields).await.expect(409);
        assert!(back.words().contains("Signed meanwhile"));
        assert_eq!(back.value("amends").as_deref(), Some(second.to_string().as_str()), "mine amends theirs now");
        let check = send(&one, &held, &back, &cells, &fields).await.expect(200);
        send(&one, &held, &check, &cells, &fields).await.expect(303);
        let kept = assessments(&app, &held);
        assert_eq!(kept.iter().filter(|a| a.status == "signed").count(), 1);
        assert_eq!(kept.len(), 3, "every version stays readable");
    }
}

/// The maps of the demonstration make the areas that were judged, so that it shows nothing that could not be.
#[test]
fn the_maps_of_the_demonstration_make_the_areas_that_were_judged() {
    let app = crate::jobs::demonstration();
    let mut seen = 0;
    let all = app.read(|conn| {
        use diesel::prelude::*;
        use roundel::db::schema::assessments;
        let rows: Vec<AssessmentRow> = assessments::table.select(AssessmentRow::as_select()).load(conn)?;
        rows.into_iter()
            .map(|row| {
                let mut maps = skin::maps_of(conn, row.service_id, row.patient_id)?;
                let cells = maps.remove(&row.id).unwrap_or_default();
                Ok((row, cells))
            })
            .collect::<Result<Vec<_>, roundel::db::StoreError>>()
    });
    for (row, cells) in all {
        let (inputs, found): (Inputs, StomaFound) = (row.inputs.read().unwrap(), row.findings.read().unwrap());
        let Some((stoma, plate)) = roundel::contacts::clinic_map::measured(&found) else { continue };
        let by_map = shares(&SkinMap { stoma, plate, rings: 3, cells }).expect("a map");
        let of = [inputs.judged.discolouration, inputs.judged.erosion, inputs.judged.overgrowth];
        for (domain, judged) in Domain::ALL.into_iter().zip(of) {
            assert_eq!(by_map.area(domain).points(), judged.area_points, "{domain:?} {found:?}");
        }
        seen += 1;
    }
    assert!(seen > 20, "{seen}");
}

async fn one_sends(client: &Client, of: &Someone, page: &Page, fields: &[(&str, &str)]) -> Page {
    send(client, of, page, &[], fields).await
}
