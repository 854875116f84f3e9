//! Closures, the daily task and the year ahead.

use chrono::{Duration, Months, NaiveDate};
use roundel::access::places;
use roundel::access::roles::Role;
use roundel::db::Db;
use roundel::follow_up::roll::{run_due, runs};
use roundel::follow_up::store::Review;

use super::{Draft, copied, forced, plan};
use crate::both_backends;
use crate::support::TestApp;

const NHS: [&str; 3] = ["999 000 0042", "999 000 0050", "999 000 0069"];

fn last_planned(app: &TestApp, id: roundel::db::ids::PatientId) -> NaiveDate {
    app.reviews_of(id).iter().filter(|r| r.is_open()).map(|r| r.planned_on).max().unwrap()
}

both_backends! {
    async fn a_closure_moves_what_is_planned_after_it_was_shown(app: TestApp) {
        let (lead, nurse) = (app.as_role(Role::Lead), app.as_role(Role::Nurse));
        let held = app.db_patient_with(
            "Thistlewood", "Marion", NHS[0], 60, |_, s| s.discharge_on = None);
        let booked = app.db_patient_with("Penhallow", "Gwen", NHS[1], 60, |_, s| s.discharge_on = None);
        let next = app.next_review(held.id);
        let other = app.next_review(booked.id);
        app.db_review(Review {
            status: "booked".into(), booked_on: Some(other.planned_on), booked_time: Some("09:00".into()), ..other.clone()
        });
        lead.get("/closures").await.expect(200);
        nurse.post("/closures", &[("on", "+10d"), ("name", "Training day")]).await.expect(403);
        let day = next.planned_on.to_string();
        lead.post("/closures", &[("on", &day), ("name", "")]).await.expect(422);
        lead.post("/closures", &[("on", "2026-11-28"), ("name", "A Saturday")]).await.expect(422);
        let page = lead.post("/closures", &[("on", &day), ("name", "Training day")]).await.expect(200);
        assert!(page.words().contains("1 moved; 1 booked, off plan"), "{}", page.words());
        assert_eq!(app.next_review(held.id).planned_on, next.planned_on, "moved before it was confirmed");
        let fields = page.fields("main form");
        let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        lead.post_only("/closures", &fields).await.expect(303);
        let moved = app.next_review(held.id);
        assert!(moved.planned_on > next.planned_on);
        let reasons: Vec<String> = moved.reasons.read().unwrap();
        assert!(reasons.iter().any(|r| r.contains("was planned for Tue 29-Dec-2026")), "{reasons:?}");
        let kept = app.next_review(booked.id);
        assert_eq!(kept.booked_on, Some(other.planned_on));
        assert!(kept.off_plan.unwrap().contains("no working day now"));
        let week = nurse.get(&format!("/week?week={day}")).await.expect(200).words();
        assert!(week.contains("Off plan: booked for"), "{week}");
        // Another service has its own days.
        let stranger = app.as_roles(app.add_service("Elsewhere"), &[Role::Lead]);
        assert!(!stranger.get("/closures").await.expect(200).words().contains("Training day"));
        // Taken back: everything is as it was.
        let page = lead.get("/closures").await;
        let action = page.attributes("form[action$=remove]", "action").remove(0);
        stranger.post(&action, &[]).await.expect(404);
        lead.post_confirmed(&action, &[]).await.expect(303);
        assert_eq!(app.next_review(held.id).planned_on, next.planned_on);
        assert!(app.next_review(booked.id).off_plan.is_none());
    }

    /// Yearly steps stay planned at least 18 months ahead; the task runs once however many instances serve, and makes up
    /// for days on which none did.
    async fn the_daily_task_rolls_on_once_for_all_instances(app: TestApp) {
        let held = app.db_patient("Thistlewood", "Marion", NHS[0], 40);
        let first = run_due(&app.db, "one").unwrap();
        assert_eq!((first.len(), first[0].looked_at, first[0].changed, first[0].days_missed), (1, 1, 0, 0));
        assert!(run_due(&app.db, "one").unwrap().is_empty(), "once a day");
        let far = last_planned(&app, held.id);
        app.set_today(app.today() + Duration::days(340));
        // Several instances at the same moment, each with connections of its own.
        let address = app.db.address().clone();
        let hands = app.hands.clone();
        let instances: Vec<_> = (0..4)
            .map(|n| {
                let (address, clock) = (address.clone(), hands.clock());
                std::thread::spawn(move || {
                    let db = Db::open(address, clock, false, roundel::derive::derive).expect("the database opens");
                    run_due(&db, &format!("instance {n}")).expect("a run or none").len()
                })
            })
            .collect();
        let made: usize = instances.into_iter().map(|thread| thread.join().unwrap()).sum();
        assert_eq!(made, 1, "one of them ran it");
        let service = app.service_id;
        let held_runs = app.read(move |conn| runs(conn, service, 10));
        assert_eq!(held_runs.len(), 2);
        let last = &held_runs[0];
        assert_eq!((last.for_day, last.days_missed, last.looked_at, last.changed), (app.today(), 339, 1, 1));
        assert!(last.finished_at.is_some());
        let ahead = app.today().checked_add_months(Months::new(18)).unwrap();
        assert!(last_planned(&app, held.id) > far, "nothing was added");
        let yearly: Vec<_> = app.reviews_of(held.id).into_iter().filter(|r| r.step.as_deref() == Some("yearly")).collect();
        let next = yearly.iter().map(|r| r.nominal_on).max().unwrap().checked_add_months(Months::new(12)).unwrap();
        assert!(next > ahead, "a yearly review within 18 months is not planned");
        // It says what it did, in the log and on a page.
        let told = app.events_after(0).into_iter().filter(|e| e.what == "follow-up.daily");
        assert!(told.clone().any(|e| app.subjects_of(e.seq) == vec![held.id]), "the log names whose reviews changed");
        let page = app.as_role(Role::Lead).get("/follow-up/runs").await.expect(200).words();
        assert!(page.contains("339 days"), "{page}");
        app.as_role(Role::Nurse).get("/follow-up/runs").await.expect(403);
    }

    /// An instance that stopped half-way is taken over, one at work is not.
    async fn a_run_that_stopped_is_taken_over(app: TestApp) {
        use diesel::prelude::*;
        use roundel::db::schema::task_runs;
        app.db_patient("Thistlewood", "Marion", NHS[0], 40);
        run_due(&app.db, "one").unwrap();
        let undo = |app: &TestApp| {
            diesel::update(task_runs::table)
                .set(task_runs::finished_at.eq(None::<roundel::db::Stamp>))
                .execute(&mut app.outside())
                .unwrap();
        };
        undo(&app);
        assert!(run_due(&app.db, "two").unwrap().is_empty(), "the other is at work");
        app.wait(Duration::minutes(11));
        assert_eq!(run_due(&app.db, "two").unwrap()[0].instance, "two");
        assert!(run_due(&app.db, "one").unwrap().is_empty());
    }

    async fn a_version_comes_into_force_on_its_day(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let code = copied(&lead, "dartford-gravesham").await;
        forced(&lead, &code, "today").await.expect(303);
        let follows = code.clone();
        let held = app.db_patient_with("Thistlewood", "Marion", NHS[0], 10, move |_, s| s.protocol_id = follows);
        lead.get(&format!("/protocols/{code}")).await;
        lead.post(&format!("/protocols/{code}/draft"), &[("act", "open")]).await.expect(303);
        let mut draft = Draft::open(&lead, &code).await;
        draft.set("count", 2, "4");
        draft.send(&lead, &code, "save").await.expect(303);
        let before = plan(&app, held.id);
        forced(&lead, &code, "+5d").await.expect(303);
        assert_eq!(plan(&app, held.id), before, "not before its day");
        app.set_today(app.today() + Duration::days(4));
        run_due(&app.db, "one").unwrap();
        assert_eq!(plan(&app, held.id), before, "not before its day");
        app.set_today(app.today() + Duration::days(1));
        assert_eq!(run_due(&app.db, "one").unwrap()[0].changed, 1);
        let after = plan(&app, held.id);
        assert!(after.iter().any(|(step, _, version)| step == "three-months" && *version == 2), "{after:?}");
    }

    /// Another protocol calls nobody in for steps whose time is long over.
    async fn another_protocol_does_not_bring_the_past_back(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let held = app.db_patient_with("Thistlewood", "Marion", NHS[0], 500, |_, s| {
            s.taken_on = s.surgery_on.unwrap();
        });
        let now = app.next_review(held.id);
        app.db_review(Review { status: "fulfilled".into(), closed_on: Some(app.today()), ..now });
        let code = copied(&lead, "east-kent").await;
        forced(&lead, &code, "today").await.expect(303);
        let (id, stoma, service) = (held.id, held.stoma, app.service_id);
        app.write(move |tx| {
            let held = roundel::stomas::store::find(tx.conn(), service, stoma)?;
            let changed = roundel::stomas::store::Stoma { protocol_id: code, ..held };
            roundel::stomas::store::replace(tx, changed, None)
        });
        let open: Vec<_> = app.reviews_of(id).into_iter().filter(Review::is_open).collect();
        assert!(!open.is_empty() && open.iter().all(|r| r.planned_on > app.today()), "{open:?}");
    }

    async fn the_year_ahead_counts_against_slots_and_what_if_writes_nothing(app: TestApp) {
        let lead = app.as_role(Role::Lead);
        let site = {
            app.write(|tx| places::add(tx, "South clinic"));
            app.write(|tx| places::add(tx, "North clinic"))
        };
        let held = app.db_patient_with("Thistlewood", "Marion", NHS[0], 60, |p, s| {
            s.discharge_on = None;
            p.site_id = Some(site);
        });
        app.db_patient_with("Penhallow", "Gwen", NHS[1], 60, |_, s| s.discharge_on = None);
        let page = lead.get("/follow-up/year").await.expect(200);
        let rows = page.select_text("#weeks tbody tr");
        assert_eq!(rows.len(), 52);
        // Three reviews each lie within the year (3, 6 and 12 months after surgery).
        let first = page.select_text("form.sheet tbody tr");
        assert!(first.iter().any(|r| r.starts_with("North clinic, clinic") && r.contains('3')), "{first:?}");
        assert!(first.iter().any(|r| r.starts_with("No site set, clinic")), "{first:?}");
        // Another protocol instead: 1 yearly review and one after 3 months.
        let before = app.reviews_of(held.id).len();
        let seq = app.last_event();
        let tried = lead.get("/follow-up/year?followed=dartford-gravesham&instead=east-kent").await.expect(200);
        assert!(tried.words().contains("What if: nothing of this is written"));
        assert!(tried.select_text("#weeks tbody tr").iter().any(|r| r.contains("-2")), "the six-month reviews go");
        assert_eq!(app.reviews_of(held.id).len(), before);
        assert!(app.events_after(seq).iter().all(|e| e.action == "R"), "something was written");
        // Slots: tried, then kept.
        let place = format!("{site}|clinic");
        let query = format!("/follow-up/year?place={}&slots=0", place.replace('|', "%7C"));
        let over = lead.get(&query).await.expect(200);
        assert!(over.words().contains("in 3 weeks"), "{}", over.words());
        lead.get(&query.replace("slots=0", "slots=many")).await.expect(422);
        let form = over.fields("form[method=post][action='/follow-up/year']");
        let form: Vec<(&str, &str)> = form.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
        lead.post_only("/follow-up/year", &form).await.expect(303);
        assert!(lead.get("/follow-up/year").await.words().contains("in 3 weeks"), "the numbers are kept");
        let nurse = app.as_role(Role::Nurse);
        nurse.get("/follow-up/year").await.expect(200);
        nurse.post("/follow-up/year", &[]).await.expect(403);
    }

    async fn where_a_patient_is_seen_is_kept(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        let other = app.add_service("Elsewhere");
        let site = app.write(|tx| places::add(tx, "North clinic"));
        let foreign = app.write_as(&app.actor(other), |tx| places::add(tx, "Foreign clinic"));
        let held = app.db_patient("Thistlewood", "Marion", NHS[0], 60);
        let address = format!("/patients/{}/follow-up", held.id);
        let page = nurse.get(&address).await.expect(200);
        assert!(!page.words().contains("Foreign clinic"));
        let (version, patient) = (page.fields("form[action$=site]"), held.id.to_string());
        let version = version.iter().find(|(n, _)| n == "version").unwrap().1.clone();
        let (site, foreign) = (site.to_string(), foreign.to_string());
        let send = |site: &str| vec![
            ("patient".to_owned(), patient.clone()), ("version".to_owned(), version.clone()), ("site".to_owned(), site.to_owned()),
        ];
        for (chosen, status) in [(&foreign, 404), (&site, 303), (&site, 409)] {
            let fields = send(chosen);
            let fields: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
            nurse.post(&format!("{address}/site"), &fields).await.expect(status);
        }
    }
}
