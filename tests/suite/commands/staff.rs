//! `roundel staff add`: a one-time link and never a password; the link works once, over HTTP.

use super::{Running, add_staff, ended, on};
use crate::both_backends;
use crate::support::{block_on, raw};

const CHOSEN: &str = "harbour candle otter mosaic";

both_backends! {
    fn the_link_works_once_and_then_the_password_does(db: TestDatabase) {
        let args = ["staff", "add", "Ruth Example", "Ruth@clinic.example", "--role", "nurse", "--role", "lead", "--service", "Example Community Health"];
        let said = ended(&mut on(&db, &args)).expect(0);
        assert_eq!(said.out.matches("http://").count(), 1, "{said:?}");
        assert!(said.out.contains("The service “Example Community Health” is made"), "{said:?}");
        assert!(said.out.contains("Ruth Example can choose a password, once, within 48 hours"), "{said:?}");
        assert!(!said.out.to_lowercase().contains("password:") && !said.out.contains("password “"), "{said:?}");
        assert_eq!(raw::count(&mut db.outside(), "staff WHERE password_hash IS NOT NULL"), 0, "nobody has a password yet");
        let link = said.out.split("8080").nth(1).expect("a link on the address of the settings").trim().to_owned();
        let token = link.trim_start_matches("/link/").to_owned();
        assert!(token.len() >= 32, "{link}");
        let held = raw::texts(&mut db.outside(), "SELECT what || detail AS text FROM audit_events");
        assert!(held.iter().any(|event| event.contains("staff.member")), "{held:?}");
        assert!(held.iter().all(|event| !event.contains(&token) && !event.contains("Ruth")), "{held:?}");

        let running = Running::serve(&db);
        block_on(async {
            let nobody = running.anonymous();
            let wrong = [("user", "Ruth@clinic.example"), ("password", CHOSEN)];
            nobody.post_only("/sign-in", &wrong).await.expect(422);
            let page = nobody.get(&link).await.expect(200);
            assert!(page.words().contains("Ruth Example"), "{}", page.words());
            // What is refused does not use the link up.
            nobody.post_only(&link, &[("password", "short"), ("again", "short")]).await.expect(422);
            nobody.post_only(&link, &[("password", CHOSEN), ("again", "another")]).await.expect(422);
            nobody.post_only(&link, &[("password", CHOSEN), ("again", CHOSEN)]).await.expect(303);
            let gone = running.anonymous();
            gone.get(&link).await.expect(400);
            let other = "another candle otter mosaic";
            gone.post_only(&link, &[("password", other), ("again", other)]).await.expect(400);
            let ruth = running.anonymous();
            ruth.post_only("/sign-in", &[("user", "ruth@clinic.example"), ("password", other)]).await.expect(422);
            ruth.post_only("/sign-in", &[("user", "ruth@clinic.example"), ("password", CHOSEN)]).await.expect(303);
            let page = ruth.follow("/").await.expect(200);
            assert!(page.words().contains("Ruth Example") && page.words().contains("Lead nurse"), "{}", page.words());
        });
    }

    fn a_name_that_is_taken_is_refused_and_nothing_is_written(db: TestDatabase) {
        add_staff(&db, "Ruth Example", "ruth@clinic.example", "nurse");
        let before = raw::count(&mut db.outside(), "audit_events");
        for taken in ["ruth@clinic.example", "RUTH@clinic.example"] {
            let args = ["staff", "add", "Ruth Other", taken, "--role", "lead"];
            ended(&mut on(&db, &args)).refused("is taken");
        }
        assert_eq!(raw::count(&mut db.outside(), "staff"), 1);
        assert_eq!(raw::count(&mut db.outside(), "audit_events"), before);
        // The name of the only service need not be given; a second one needs a name.
        ended(&mut on(&db, &["staff", "add", "Amit Example", "amit@clinic.example", "--role", "clerk"])).expect(0);
        let other = ["staff", "add", "Nell Example", "nell@other.example", "--role", "lead", "--service", "Other Health", "--nation", "wales", "--new-service"];
        let mistyped = ["staff", "add", "Nell Example", "nell@other.example", "--role", "lead", "--service", "Exampel Community Health"];
        ended(&mut on(&db, &mistyped)).refused("only “Example Community Health”");
        ended(&mut on(&db, &other)).expect(0);
        ended(&mut on(&db, &other)).refused("there is a service “Other Health” already");
        let args = ["staff", "add", "Osric Example", "osric@clinic.example", "--role", "auditor"];
        ended(&mut on(&db, &args)).refused("there are several services");
        let nations = raw::texts(&mut db.outside(), "SELECT nation AS text FROM services ORDER BY nation");
        assert_eq!(nations, ["england", "wales"]);
        // Both services have the starter catalogue.
        let items = |name: &str| raw::count(&mut db.outside(), &format!("catalogue_items WHERE service_id = (SELECT id FROM services WHERE name = '{name}')"));
        assert!(items("Other Health") > 30);
        assert_eq!(items("Other Health"), items("Example Community Health"));
    }

    fn what_is_wrong_is_said_before_anything_is_made(db: TestDatabase) {
        let tried: [(&[&str], &str); 7] = [
            (&["Ann Example", "ann@clinic.example", "--role", "nurse"], "there is no service yet"),
            (&["Ann Example", "ann@clinic.example", "--role", "matron", "--service", "X"], "nurse, prescriber"),
            (&["Ann Example", "ann@clinic.example", "--service", "X"], "--role"),
            (&["Ann Example", "ann@clinic.example", "--role", "nurse", "--service", "X", "--nation", "france"], "--nation must be"),
            (&["  ", "ann@clinic.example", "--role", "nurse", "--service", "X"], "must not be empty"),
            (&["Ann Example", "an", "--role", "nurse", "--service", "X"], "3 letters"),
            (&["Ann Example", "ann@clinic.example", "--role", "nurse", "--service", "  "], "service"),
        ];
        for (args, words) in tried {
            let args: Vec<&str> = ["staff", "add"].iter().chain(args).copied().collect();
            ended(&mut on(&db, &args)).refused(words);
            for table in ["services", "staff", "audit_events"] {
                assert_eq!(raw::count(&mut db.outside(), table), 0, "{table} after {args:?}");
            }
        }
    }
}
