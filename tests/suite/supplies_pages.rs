//! Supplies through HTTP on both databases: draft, check, signature, later versions, paper, catalogue, quantity sets.

mod acts;
mod paper;

pub use paper::pages;

use std::process::Command;

use roundel::access::roles::Role;
use roundel::supplies::catalogue::starter_items;
use roundel::supplies::store::{self, Item};

use crate::both_backends;
use crate::support::{Client, Page, Someone, TestApp, raw};

/// A number of the range kept for tests.
pub const NHS: &str = "999 000 0042";

/// The starter catalogue, in the service.
pub fn stocked(app: &TestApp) -> Vec<Item> {
    let items = starter_items(app.service_id, app.now());
    let copy = items.clone();
    app.write(move |tx| store::add_items(tx, &copy));
    items
}

/// The id of an item by its code.
pub fn id_of(items: &[Item], code: &str) -> String {
    items.iter().find(|item| item.code == code).unwrap_or_else(|| panic!("no {code}")).id.to_string()
}

/// Item id, units, every so many days, reason.
type Line<'a> = (&'a str, &'a str, &'a str, &'a str);

/// Sends the form of the page with these lines, hidden fields as the page holds them.
async fn send(who: &Client, page: &Page, act: &str, lines: &[Line<'_>]) -> Page {
    let hidden = ["stoma", "draft", "version"].map(|name| (name, page.value(name).unwrap()));
    let mut fields: Vec<(&str, &str)> = hidden.iter().map(|(name, value)| (*name, value.as_str())).collect();
    fields.extend([("act", act), ("period", "28"), ("dispenser", "Larch Row Pharmacy"), ("note", "")]);
    for (item, units, every, reason) in lines {
        fields.extend([("item", *item), ("units", *units), ("every", *every), ("on_hand", ""), ("opening", "")]);
        fields.extend([("issue", "repeat"), ("reason", *reason), ("review", "")]);
    }
    let path = page.path.clone();
    who.post(&path, &fields).await
}

/// A saved draft: the address of its summary without `/summary`.
pub async fn draft(who: &Client, held: &Someone, lines: &[Line<'_>]) -> String {
    let form = who.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
    let saved = send(who, &form, "save", lines).await.expect(303);
    saved.location().unwrap().strip_suffix("/summary").unwrap().to_owned()
}

/// Signs a draft as its page asks.
pub async fn sign(who: &Client, list: &str) -> Page {
    let page = who.get(&format!("{list}/summary")).await.expect(200);
    let form = format!("form[action='{list}/sign'] input");
    let value = |name: &str| page.attributes(&format!("{form}[name='{name}']"), "value").remove(0);
    who.post(
        &format!("{list}/sign"),
        &[("patient", &value("patient")), ("version", &value("version")), ("seal", &value("seal"))],
    )
    .await
}

both_backends! {
    async fn a_check_shows_units_packs_and_verdict_and_saves_nothing(app: TestApp) {
        let (nurse, items) = (app.as_role(Role::Nurse), stocked(&app));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let form = nurse.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
        let page = send(&nurse, &form, "check", &[(&pouch, "1", "1", "")]).await.expect(200);
        // 1 a day over 28 days is 28 pouches, which need one pack of 30.
        let line = page.first("fieldset.supply-line");
        for words in ["28 pouches needed", "1 pack of 30", "lasts 30 days"] {
            assert!(line.contains(words), "{words}: {line}");
        }
        let verdict = page.first("fieldset.supply-line > p");
        let source = page.first("fieldset.supply-line > p > :last-child");
        assert!(source.len() > 20 && verdict.contains(&source), "{verdict}");
        assert!(page.words().contains("Checked, not saved."));
        assert_eq!(raw::count(&mut app.outside(), "prescriptions"), 0);
        assert_eq!(raw::count(&mut app.outside(), "prescription_lines"), 0);
        // 5 every 2 days are 70 in 28 days: three packs of 30, 90 pouches, 36 days.
        let page = send(&nurse, &page, "check", &[(&pouch, "5", "2", "")]).await.expect(200);
        let line = page.first("fieldset.supply-line");
        assert!(line.contains("70 pouches needed: 3 packs of 30, lasts 36 days"), "{line}");
    }

    async fn only_a_prescriber_puts_a_draft_in_force(app: TestApp) {
        let (nurse, prescriber) = (app.as_role(Role::Nurse), app.as_role(Role::Prescriber));
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let list = draft(&nurse, &held, &[(&id_of(&items, "one-piece-drainable-flat-cut"), "1", "1", "")]).await;
        let page = nurse.get(&format!("{list}/summary")).await.expect(200);
        assert!(page.first(".standfirst").contains("Draft, not signed"), "{}", page.first(".standfirst"));
        assert!(!page.has(&format!("form[action='{list}/sign']")), "a nurse is offered the signature");
        nurse.post(&format!("{list}/sign"), &[("version", "1"), ("seal", "0")]).await.expect(403);
        assert_eq!(raw::count(&mut app.outside(), "prescriptions WHERE status = 'draft'"), 1);
        sign(&prescriber, &list).await.expect(303);
        let page = prescriber.get(&format!("{list}/summary")).await.expect(200);
        assert!(page.first(".standfirst").contains("In force"), "{}", page.first(".standfirst"));
        // What was signed is not signed, nor saved over, a second time.
        prescriber.post(&format!("{list}/sign"), &[("patient", &held.id.to_string()), ("version", "1"), ("seal", "0")]).await.expect(409);
    }

    async fn a_second_version_says_what_changed_and_the_first_no_longer_holds(app: TestApp) {
        let (prescriber, items) = (app.as_role(Role::Prescriber), stocked(&app));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let first = draft(&prescriber, &held, &[(&pouch, "1", "1", "")]).await;
        sign(&prescriber, &first).await.expect(303);
        let second = draft(&prescriber, &held, &[(&pouch, "2", "1", "")]).await;
        assert_ne!(first, second);
        let page = prescriber.get(&format!("{second}/summary")).await.expect(200);
        let changes = page.first("[aria-labelledby=h-changes]");
        // 56 needed: two packs of 30.
        assert!(changes.contains("against version 1") && changes.contains("quantity 30 → 60 pouches"), "{changes}");
        sign(&prescriber, &second).await.expect(303);
        let old = prescriber.get(&format!("{first}/summary")).await.expect(200);
        assert!(old.first(".standfirst").contains("Superseded By version 2"), "{}", old.first(".standfirst"));
        assert_eq!(raw::count(&mut app.outside(), "prescriptions WHERE status = 'signed'"), 1);
    }

    async fn a_list_is_stopped_by_a_prescriber_with_a_reason_and_not_from_an_old_page(app: TestApp) {
        let (nurse, prescriber) = (app.as_role(Role::Nurse), app.as_role(Role::Prescriber));
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let list = draft(&nurse, &held, &[(&id_of(&items, "one-piece-drainable-flat-cut"), "1", "1", "")]).await;
        sign(&prescriber, &list).await.expect(303);
        let (address, summary, who) = (format!("{list}/stop"), format!("{list}/summary"), held.id.to_string());
        let page = prescriber.get(&summary).await.expect(200);
        let version = page.attributes(&format!("form[action='{address}'] input[name=version]"), "value").remove(0);
        nurse.get(&summary).await.expect(200);
        nurse.post(&address, &[("patient", who.as_str()), ("version", &version), ("reason", "The stoma was reversed")]).await.expect(403);
        let page = prescriber.post(&address, &[("patient", who.as_str()), ("version", &version), ("reason", "")]).await.expect(422);
        assert!(page.first("#error-summary").contains("why the list is stopped"));
        prescriber.post(&address, &[("patient", who.as_str()), ("version", "1"), ("reason", "The stoma was reversed")]).await.expect(409);
        assert_eq!(raw::count(&mut app.outside(), "prescriptions WHERE status = 'signed'"), 1);
        prescriber.post(&address, &[("patient", who.as_str()), ("version", &version), ("reason", "The stoma was reversed")]).await.expect(303);
        let page = prescriber.get(&summary).await.expect(200);
        let words = page.first(".standfirst");
        assert!(words.contains("Stopped") && words.contains("The stoma was reversed"), "{words}");
    }

    async fn a_draft_saved_from_an_old_page_is_refused(app: TestApp) {
        let (nurse, items) = (app.as_role(Role::Nurse), stocked(&app));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        draft(&nurse, &held, &[(&pouch, "1", "1", "")]).await;
        let old = nurse.get(&format!("/patients/{}/supplies", held.id)).await.expect(200);
        send(&nurse, &old, "save", &[(&pouch, "2", "1", "")]).await.expect(303);
        send(&nurse, &old, "save", &[(&pouch, "3", "1", "")]).await.expect(409);
        assert_eq!(raw::count(&mut app.outside(), "prescription_lines WHERE use_units = 2"), 1);
        assert_eq!(raw::count(&mut app.outside(), "prescription_lines"), 1);
    }

    async fn what_cannot_be_right_is_signed_only_with_a_reason(app: TestApp) {
        let (prescriber, items) = (app.as_role(Role::Prescriber), stocked(&app));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        // A one-piece pouch has its own plate and takes no flange (English primary care guidance on stoma appliances).
        let flange = id_of(&items, "flange-flat-locking-50");
        let list = draft(&prescriber, &held, &[(&pouch, "1", "1", ""), (&flange, "1", "3", "")]).await;
        let page = sign(&prescriber, &list).await.expect(422);
        assert!(page.words().contains("Cannot be right") && page.has("[name=override_reason][aria-invalid=true]"));
        assert_eq!(raw::count(&mut app.outside(), "prescriptions WHERE status = 'draft'"), 1);
        let (seal, why) = (page.value("seal").unwrap(), "Two systems are tried side by side");
        let version = page.value("version").unwrap();
        let who = held.id.to_string();
        let fields = [
            ("patient", who.as_str()),
            ("version", version.as_str()),
            ("seal", seal.as_str()),
            ("override_reason", why),
        ];
        prescriber.post(&format!("{list}/sign"), &fields).await.expect(303);
        let page = prescriber.get(&format!("{list}/summary")).await.expect(200);
        assert!(page.first("[aria-labelledby=h-issued]").contains(why));
    }

    async fn another_services_prescription_is_not_there(app: TestApp) {
        let (nurse, items) = (app.as_role(Role::Nurse), stocked(&app));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let list = draft(&nurse, &held, &[(&id_of(&items, "one-piece-drainable-flat-cut"), "1", "1", "")]).await;
        let elsewhere = app.add_service("Another Service");
        let stranger = app.as_roles(elsewhere, &[Role::Prescriber, Role::Lead]);
        for part in ["summary", "summary.pdf"] {
            stranger.get(&format!("{list}/{part}")).await.expect(404);
        }
        stranger.get("/week").await;
        stranger.post(&format!("{list}/sign"), &[("version", "1"), ("seal", "0")]).await.expect(404);
        let reason = "Not wanted any more";
        stranger.post(&format!("{list}/stop"), &[("version", "1"), ("reason", reason)]).await.expect(404);
        assert_eq!(raw::count(&mut app.outside(), "prescriptions WHERE status = 'draft'"), 1);
    }

    async fn the_paper_holds_what_the_page_shows(app: TestApp) {
        let (prescriber, items) = (app.as_role(Role::Prescriber), stocked(&app));
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let night = id_of(&items, "night-bag-2000");
        let list = draft(&prescriber, &held, &[(&pouch, "5", "2", ""), (&night, "1", "7", "Output at night")]).await;
        sign(&prescriber, &list).await;
        let page = prescriber.get(&format!("{list}/summary")).await.expect(200);
        let pdf = prescriber.get(&format!("{list}/summary.pdf")).await.expect(200);
        assert_eq!(pdf.header("content-type"), Some("application/pdf"));
        assert!(pdf.bytes.starts_with(b"%PDF"));
        let dir = tempfile::tempdir().unwrap();
        let run = |program: &str, args: &[&str]| {
            let out = Command::new(program).args(args).current_dir(dir.path()).output();
            let out = out.unwrap_or_else(|error| panic!("cannot run {program}: {error}"));
            let said = String::from_utf8_lossy(&out.stdout).into_owned();
            assert!(out.status.success(), "{program}: {said}{}", String::from_utf8_lossy(&out.stderr));
            said
        };
        std::fs::write(dir.path().join("x.pdf"), &pdf.bytes).unwrap();
        run("qpdf", &["--check", "x.pdf"]);
        let python = std::env::var("ROUNDEL_TEST_PYTHON").expect("ROUNDEL_TEST_PYTHON: start the tests with tests/run");
        assert!(run(&python, &["-m", "pdfua", "check", "x.pdf"]).contains("result: PASS"));
        let squeezed = |text: &str| text.split_whitespace().collect::<String>();
        let text = squeezed(&run("pdftotext", &["-layout", "x.pdf", "-"]));
        for words in ["THISTLEWOOD, Marion", "Born 23 August 1951", NHS, "Page 1 of"] {
            assert!(text.contains(&squeezed(words)), "{words}: {text}");
        }
        let plain = squeezed(&run("pdftotext", &["x.pdf", "-"]));
        // The page's units and packs, each row beside its pack size: number, use, units, packs, lasting.
        let cells = page.select_text("table.supply tbody td");
        assert_eq!(cells.len(), 2 * 5, "{cells:?}");
        for (row, code) in cells.chunks(5).zip(["one-piece-drainable-flat-cut", "night-bag-2000"]) {
            let item = items.iter().find(|item| item.code == code).unwrap();
            assert!(plain.contains(&squeezed(&item.name)), "{} is not in: {plain}", item.name);
            let printed = squeezed(&format!("{}{} of {}{}", row[2], row[3], item.pack, row[4]));
            assert!(plain.contains(&printed), "{printed} is not in: {plain}");
        }
    }

    async fn an_own_item_is_offered_until_it_is_withdrawn(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let fields = [
            ("category", "one-piece-drainable"), ("name", "One-piece drainable pouch, trial"), ("size", "15–45 mm"),
            ("pack", "20"), ("unit", "pouch"), ("convexity", "flat"), ("precut", "no"), ("latex", "no"),
            ("animal_derived", "ask"),
        ];
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let nurse = app.as_role(Role::Nurse);
        nurse.get("/catalogue").await.expect(200);
        nurse.post("/catalogue", &fields).await.expect(403);
        lead.get("/catalogue").await.expect(200);
        let wrong: Vec<_> = fields.iter().map(|f| if f.0 == "pack" { ("pack", "0") } else { *f }).collect();
        assert!(lead.post("/catalogue", &wrong).await.expect(422).first("#error-summary").contains("in a pack"));
        assert_eq!(raw::count(&mut app.outside(), "catalogue_items"), 0);
        lead.post("/catalogue", &fields).await.expect(303);
        let draft_page = format!("/patients/{}/supplies", held.id);
        let offered = |page: Page| page.select_text("select[name=item] option").join("|").contains("pouch, trial");
        assert!(offered(nurse.get(&draft_page).await.expect(200)));
        let id = app.read(|conn| store::items(conn, app.service_id, true)).remove(0).id;
        nurse.post(&format!("/catalogue/{id}"), &[("act", "withdraw")]).await.expect(403);
        lead.post(&format!("/catalogue/{id}"), &[("act", "withdraw")]).await.expect(303);
        assert!(!offered(nurse.get(&draft_page).await.expect(200)));
    }

    async fn only_the_lead_chooses_the_quantity_set(app: TestApp) {
        let (lead, prescriber) = (app.as_role(Role::Lead), app.as_role(Role::Prescriber));
        let set = |app: &TestApp| raw::texts(&mut app.outside(), "SELECT quantity_set AS text FROM services").remove(0);
        let before = set(&app);
        let other = if before == "scotland-2015" { "doncaster" } else { "scotland-2015" };
        prescriber.get("/quantities").await.expect(200);
        prescriber.post("/quantities", &[("set", other)]).await.expect(403);
        lead.get("/quantities").await.expect(200);
        lead.post("/quantities", &[("set", "none-such")]).await.expect(422);
        assert_eq!(set(&app), before);
        lead.post("/quantities", &[("set", other)]).await.expect(303);
        assert_eq!(set(&app), other);
        let page = lead.get("/quantities").await.expect(200);
        assert_eq!(page.attributes("input[name=set][checked]", "value"), [other]);
    }
}
