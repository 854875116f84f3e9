//! The summary as page and as paper: what stands in it, and what is not in force says so.

use std::process::Command;

use roundel::access::roles::Role;

use super::{NHS, draft, id_of, sign, stocked};
use crate::both_backends;
use crate::support::{Client, Page, raw};

/// The words of a PDF, blanks run together, page by page.
pub fn pages(pdf: &Page) -> Vec<String> {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("x.pdf"), &pdf.bytes).unwrap();
    let run = |program: &str, args: &[&str]| {
        let out = Command::new(program).args(args).current_dir(dir.path()).output();
        let out = out.unwrap_or_else(|error| panic!("cannot run {program}: {error}"));
        assert!(out.status.success(), "{program}: {}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8_lossy(&out.stdout).into_owned()
    };
    run("qpdf", &["--check", "x.pdf"]);
    let text = run("pdftotext", &["x.pdf", "-"]);
    let words = |page: &str| page.split_whitespace().collect::<Vec<_>>().join(" ");
    text.split('\u{c}').map(words).filter(|page| !page.is_empty()).collect()
}

/// The paper of a list; identity and page number are on every page of it.
async fn paper(who: &Client, list: &str, size: &str) -> Vec<String> {
    let pdf = who.get(&format!("{list}/summary.pdf{size}")).await.expect(200);
    assert_eq!(pdf.header("content-type"), Some("application/pdf"));
    let name = pdf.header("content-disposition").unwrap_or_default().to_owned();
    assert!(
        name.contains("supplies-summary-2026-11-25-version-") && !name.to_lowercase().contains("thistlewood"),
        "{name}"
    );
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

both_backends! {
    async fn what_is_not_in_force_says_so_on_every_page(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let marked = |pages: &[String], mark: &str| pages.iter().all(|page| page.contains(mark));
        let first = draft(&prescriber, &held, &[(&pouch, "1", "1", "")]).await;
        let drawn = paper(&prescriber, &first, "").await;
        assert!(marked(&drawn, "Draft, not signed. Do not supply from it."), "{drawn:?}");
        assert!(!drawn[0].contains("Please supply"), "{drawn:?}");
        sign(&prescriber, &first).await.expect(303);
        let signed = paper(&prescriber, &first, "").await;
        assert!(signed.iter().all(|page| !page.contains("Do not supply")), "{signed:?}");
        assert!(signed[0].contains("Please supply for 28 days"), "{signed:?}");
        let second = draft(&prescriber, &held, &[(&pouch, "2", "1", "")]).await;
        sign(&prescriber, &second).await.expect(303);
        let old = paper(&prescriber, &first, "").await;
        assert!(marked(&old, "Superseded by a later version. Do not supply from it."), "{old:?}");
        let page = prescriber.get(&format!("{second}/summary")).await.expect(200);
        let version = page.attributes(&format!("form[action='{second}/stop'] input[name=version]"), "value").remove(0);
        prescriber.post(&format!("{second}/stop"), &[("patient", &held.id.to_string()), ("version", &version), ("reason", "The stoma was reversed")]).await.expect(303);
        let stopped = paper(&prescriber, &second, "").await;
        assert!(marked(&stopped, "Stopped. Do not supply from it."), "{stopped:?}");
        assert!(stopped[0].contains("The stoma was reversed"), "{stopped:?}");
    }

    async fn page_and_paper_hold_the_same_facts(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient_with("Thistlewood", "Marion", NHS, 40, |patient, stoma| {
            patient.address = Some("4 Larch Row, Borrowdean".to_owned());
            patient.postcode = Some("ZZ99 9ZZ".to_owned());
            patient.gp_practice = Some("Weirside Surgery".to_owned());
            patient.sensitivity = "known".to_owned();
            patient.sensitivity_note = Some("Colophony".to_owned());
            stoma.width_mm = Some(32);
            stoma.height_mm = Some(30);
            stoma.protrusion_mm = Some(12);
        });
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let wipe = id_of(&items, "adhesive-remover-wipe");
        let list = draft(&prescriber, &held, &[(&pouch, "5", "2", ""), (&wipe, "1", "1", "Skin marks when peeled dry")]).await;
        sign(&prescriber, &list).await.expect(303);
        let page = prescriber.get(&format!("{list}/summary")).await.expect(200);
        let facts = page.select_text("section[aria-labelledby=h-for] dl.facts > div");
        for fact in [
            "Name THISTLEWOOD, Marion",
            "Born 23-Aug-1951 (75",
            "NHS No. 999 000 0042",
            "Address 4 Larch Row, Borrowdean, ZZ99 9ZZ",
            "GP practice Weirside Surgery",
            "Avoid Colophony",
            "Stoma End ileostomy, permanent",
            "Surgery 16-Oct-2026",
            "Size 32 mm wide, 30 mm high, stands out 12 mm",
            "Skin No assessment recorded",
        ] {
            let squeezed = |text: &str| text.split_whitespace().collect::<String>();
            assert!(facts.iter().any(|found| squeezed(found).starts_with(&squeezed(fact))), "{fact}: {facts:#?}");
        }
        let issued = page.first("section[aria-labelledby=h-issued]");
        for words in ["Drawn up by", "Signed by", "25-Nov-2026", "Larch Row Pharmacy", "Next review", "patient, GP practice, dispenser"] {
            assert!(issued.contains(words), "{words}: {issued}");
        }
        // Each verdict stands there with its source and how sure that is.
        let checks = page.select_text("section[aria-labelledby=h-checks] li");
        assert!(checks.len() >= 2 && checks.iter().all(|check| check.len() > 40), "{checks:?}");
        for size in ["", "?size=large"] {
            let paper = paper(&prescriber, &list, size).await.join(" ").replace('\u{a0}', " ");
            for words in [
                "4 Larch Row, Borrowdean, ZZ99 9ZZ",
                "Weirside Surgery",
                "Colophony",
                "End ileostomy, permanent",
                "16 October 2026",
                "32 mm wide, 30 mm high, stands out 12 mm",
                "Why: Skin marks when peeled dry",
                "5 every 2 days",
                "Larch Row Pharmacy",
                "25 November 2026",
            ] {
                let squeezed = |text: &str| text.split_whitespace().collect::<String>();
                assert!(squeezed(&paper).contains(&squeezed(words)), "{words}: {paper}");
            }
        }
        // Who printed it is on the paper; somebody else's print says so.
        let nurse = app.as_role(Role::Nurse);
        let other = paper(&nurse, &list, "").await;
        assert!(other[0].contains("Printed by Nurse"), "{other:?}");
    }

    async fn what_is_at_hand_is_not_ordered_again_and_an_override_is_printed(app: TestApp) {
        let prescriber = app.as_role(Role::Prescriber);
        let items = stocked(&app);
        let held = app.db_patient("Thistlewood", "Marion", NHS, 40);
        let pouch = id_of(&items, "one-piece-drainable-flat-cut");
        let flange = id_of(&items, "flange-flat-locking-50");
        let path = format!("/patients/{}/supplies", held.id);
        let form = prescriber.get(&path).await.expect(200);
        let hidden = ["stoma", "draft", "version"].map(|name| (name, form.value(name).unwrap()));
        let mut fields: Vec<(&str, &str)> = hidden.iter().map(|(name, value)| (*name, value.as_str())).collect();
        fields.extend([("act", "save"), ("period", "28"), ("dispenser", ""), ("note", "Ring before you deliver")]);
        for (item, on_hand) in [(&pouch, "20"), (&flange, "0")] {
            fields.extend([("item", item.as_str()), ("units", "1"), ("every", "1"), ("on_hand", on_hand), ("opening", "")]);
            fields.extend([("issue", "acute"), ("reason", ""), ("review", "+3w")]);
        }
        let saved = prescriber.post(&path, &fields).await.expect(303);
        let list = saved.location().unwrap().strip_suffix("/summary").unwrap().to_owned();
        // 28 a period, 20 at hand: 8 needed, one pack of 30 supplied, 50 last 50 days.
        let lines = raw::texts(&mut app.outside(), "SELECT units || ' ' || packs || ' ' || supplied || ' ' || days_supply AS text FROM prescription_lines ORDER BY position");
        assert_eq!(lines[0], "8 1 30 50");
        let page = prescriber.get(&format!("{list}/summary")).await.expect(200);
        let value = |name: &str| page.attributes(&format!("form[action='{list}/sign'] input[name='{name}']"), "value").remove(0);
        let (version, seal) = (value("version"), value("seal"));
        let send = |why: &'static str| {
            let fields = [
                ("patient", held.id.to_string()),
                ("version", version.clone()),
                ("seal", seal.clone()),
                ("override_reason", why.to_owned()),
            ];
            let (prescriber, list) = (&prescriber, &list);
            async move {
                let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
                prescriber.post(&format!("{list}/sign"), &fields).await
            }
        };
        for why in ["", "because", "   a      b  "] {
            let again = send(why).await.expect(422);
            assert!(again.first("#error-summary").contains("at least 10 characters"), "{why}");
        }
        send("Two systems are tried side by side").await.expect(303);
        let paper = paper(&prescriber, &list, "").await.join(" ");
        for words in ["Signed although", "Two systems are tried side by side", "Cannot be right", "Ring before you deliver", "acute, once", "16 December 2026"] {
            assert!(paper.contains(words), "{words}: {paper}");
        }
    }
}
