//! Signing in and out, sessions, one-time links, passwords, where forms come from, and the headers of every answer.

use chrono::Duration;
use futures_util::future::join_all;
use reqwest::Method;
use roundel::access::roles::{self, Role};
use roundel::access::{passwords, secrets, sign_in, store};
use roundel::config::{IDLE_MINUTES, SESSION_HOURS};
use roundel::web::headers;

use crate::both_backends;
use crate::support::app::{PASSWORD, Person};
use crate::support::client::form;
use crate::support::{Backend, Client, Page, TestApp, raw};

const ANOTHER_PASSWORD: &str = "harbour velvet onion sledge";

async fn sign_in(app: &TestApp, name: &str, password: &str) -> (Client, Page) {
    let client = app.anonymous();
    let page = client.post("/sign-in", &[("user", name), ("password", password)]).await;
    (client, page)
}

/// True when the session is still good for something.
async fn is_open(client: &Client) -> bool {
    let page = client.get("/account").await;
    match page.status {
        200 => true,
        303 => {
            assert!(page.location().is_some_and(|to| to.starts_with("/sign-in?")), "{:?}", page.location());
            false
        }
        other => panic!("{other}: {}", page.words()),
    }
}

fn last_outcome(app: &TestApp, what: &str) -> String {
    let events = app.events_after(0);
    let event = events.iter().rev().find(|event| event.what == what);
    event.unwrap_or_else(|| panic!("no event {what}")).outcome.clone()
}

/// The one-time link that a page shows, as its path.
fn link_on(page: &Page) -> String {
    let found = page.text.split("/link/").nth(1).map(|rest| rest.chars().take_while(char::is_ascii_hexdigit).collect());
    let token: String = found.unwrap_or_else(|| panic!("no link on:\n{}", page.words()));
    assert_eq!(token.len(), 64, "{token}");
    format!("/link/{token}")
}

async fn new_member(app: &TestApp, administrator: &Client, sign_in_name: &str) -> (String, String) {
    administrator.get("/staff").await.expect(200);
    let fields = [("name", "Robin Example"), ("sign_in_name", sign_in_name), ("registration", ""), ("roles", "nurse")];
    let page = administrator.post("/staff", &fields).await.expect(200);
    let name = sign_in_name.to_owned();
    let row = app.read(move |conn| store::staff_by_name(conn, &name)).expect("the new member");
    (link_on(&page), format!("/staff/{}", row.id))
}

both_backends! {
    // --- signing in -----------------------------------------------------------------------------------------------

    async fn everybody_comes_to_the_first_page_of_their_role(app: TestApp) {
        for role in roles::ALL {
            let person = app.db_person(app.service_id, &[role]);
            let (client, page) = sign_in(&app, &person.sign_in_name, PASSWORD).await;
            let page = page.expect(303);
            let first = roles::first_page(&roles::permissions_of(&[role]));
            assert_eq!(page.location().as_deref(), Some(first));
            assert_eq!(client.get("/").await.expect(303).location().as_deref(), Some(first));
            assert_eq!(last_outcome(&app, "sign-in"), "ok");
            assert!(is_open(&client).await);
        }
    }

    async fn the_sign_in_name_is_taken_in_any_case_and_with_blanks(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let typed = format!("  {} ", person.sign_in_name.to_uppercase());
        sign_in(&app, &typed, PASSWORD).await.1.expect(303);
    }

    async fn the_cookie_is_closed_on_every_side(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let (_, page) = sign_in(&app, &person.sign_in_name, PASSWORD).await;
        let cookies = page.set_cookies();
        let [cookie] = &cookies[..] else { panic!("one cookie: {cookies:?}") };
        let mut parts = cookie.split("; ");
        let (name, value) = parts.next().and_then(|first| first.split_once('=')).expect("a name and a value");
        assert_eq!(name, "__Host-roundel");
        assert_eq!(name, sign_in::COOKIE);
        assert!(value.len() == 64 && value.chars().all(|c| c.is_ascii_hexdigit()), "256 bits: {value}");
        let mut flags: Vec<&str> = parts.collect();
        flags.sort_unstable();
        // No Max-Age and no Expires: it ends with the browser. No Domain: `__Host-` forbids it.
        assert_eq!(flags, ["HttpOnly", "Path=/", "SameSite=Strict", "Secure"]);
    }

    async fn every_sign_in_gives_another_reference(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let (client, _) = sign_in(&app, &person.sign_in_name, PASSWORD).await;
        let first = client.cookie().expect("a cookie");
        // Also to a browser that brings one along.
        client.post("/sign-in", &[("user", &person.sign_in_name), ("password", PASSWORD)]).await.expect(303);
        assert_ne!(client.cookie().expect("a cookie"), first);
    }

    /// Whoever reads the database learns no secret that works: references, links and passwords are there as hashes only.
    async fn only_hashes_are_kept(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let (link, _) = new_member(&app, &administrator, "robin@clinic.example").await;
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let (client, _) = sign_in(&app, &person.sign_in_name, PASSWORD).await;
        let reference = client.cookie().expect("a cookie");
        let token = link.trim_start_matches("/link/").to_owned();
        let kept = everything_kept(&app);
        let contains = |needle: &[u8]| kept.windows(needle.len()).any(|part| part == needle);
        assert!(contains(person.sign_in_name.as_bytes()), "the whole database is looked through");
        for (what, secret) in [("a reference", &reference), ("a link", &token), ("a password", &PASSWORD.to_owned())] {
            assert!(!contains(secret.as_bytes()), "{what} is kept as it is");
            if let Ok(bytes) = hex::decode(secret) {
                assert!(!contains(&bytes) && !contains(hex::encode(&bytes).to_uppercase().as_bytes()), "{what}");
            }
        }
        let hash = secrets::hash(&reference);
        assert!(contains(&hash) || contains(hex::encode(&hash).as_bytes()), "its hash is");
        assert!(contains(b"$argon2id$v=19$m=19456,t=2,p=1$"), "passwords are hashed at the stated cost");
    }

    async fn a_wrong_password_and_an_unknown_name_look_alike(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let closed = app.db_person(app.service_id, &[Role::Nurse]);
        let (service, id) = (app.service_id, closed.id);
        app.write(move |tx| store::set_access(tx, service, id, false));
        let waiting = store::new_staff(app.service_id, "waiting@clinic.example", "Has No Password", app.now());
        app.write(move |tx| store::add_staff(tx, &waiting, &[Role::Nurse]));
        let mut words = Vec::new();
        for (name, password) in [
            (person.sign_in_name.as_str(), "not the password at all"),
            ("nobody@clinic.example", PASSWORD),
            (closed.sign_in_name.as_str(), PASSWORD),
            ("waiting@clinic.example", ""),
            ("", ""),
        ] {
            let (client, page) = sign_in(&app, name, password).await;
            let page = page.expect(422);
            assert_eq!(client.cookie(), None);
            assert_eq!(last_outcome(&app, "sign-in"), "failed");
            assert_eq!(page.value("user").unwrap_or_default(), name, "the name stays in its field");
            assert_eq!(page.value("password").unwrap_or_default(), "", "a password never comes back");
            assert!(page.first("title").starts_with("Error: "), "{}", page.first("title"));
            words.push(page.words());
        }
        words.dedup();
        assert_eq!(words.len(), 1, "{words:#?}");
    }

    // --- too many attempts ----------------------------------------------------------------------------------------

    async fn after_five_failures_one_has_to_wait(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let wrong = || sign_in(&app, &person.sign_in_name, "not the password at all");
        let right = || sign_in(&app, &person.sign_in_name, PASSWORD);
        for _ in 0..5 {
            wrong().await.1.expect(422);
        }
        // Even the right password has to wait, and trying does not make the wait longer.
        for _ in 0..3 {
            let page = right().await.1.expect(429);
            assert!(page.words().contains("Wait 2 seconds"), "{}", page.words());
            assert_eq!(last_outcome(&app, "sign-in"), "refused");
        }
        app.wait(Duration::seconds(2));
        wrong().await.1.expect(422);
        app.wait(Duration::seconds(1));
        right().await.1.expect(429);
        app.wait(Duration::seconds(2));
        right().await.1.expect(303);
        // A sign-in clears the count.
        wrong().await.1.expect(422);
        right().await.1.expect(303);
    }

    async fn the_wait_doubles_to_a_quarter_of_an_hour_and_ends_access_at_a_hundred(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let mut conn = app.outside();
        let mut failed_before = |count: i32| {
            let set = format!("UPDATE staff SET failed_count = {count}, locked_until = NULL WHERE sign_in_name = '{}'", person.sign_in_name);
            assert_eq!(raw::touched(&mut conn, &set), 1);
        };
        let row = |app: &TestApp| app.read(|conn| store::staff_member(conn, app.service_id, person.id));
        for (before, seconds) in [(4, 1), (5, 2), (6, 4), (9, 32), (13, 512), (14, 900), (60, 900)] {
            failed_before(before);
            sign_in(&app, &person.sign_in_name, "not the password at all").await.1.expect(422);
            let until = row(&app).locked_until.expect("a wait");
            assert_eq!((until.at() - app.hands.now()).num_seconds(), seconds, "after {before} failures");
        }
        failed_before(98);
        sign_in(&app, &person.sign_in_name, "not the password at all").await.1.expect(422);
        assert_eq!(row(&app).disabled_at, None);
        app.wait(Duration::minutes(15));
        sign_in(&app, &person.sign_in_name, "not the password at all").await.1.expect(422);
        assert!(row(&app).disabled_at.is_some(), "a hundred failures in a row end access");
        app.wait(Duration::minutes(15));
        sign_in(&app, &person.sign_in_name, PASSWORD).await.1.expect(422);
    }

    /// Guessing in parallel must not count as guessing once.
    async fn attempts_made_at_the_same_moment_all_count(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let tries = (0..8).map(|_| sign_in(&app, &person.sign_in_name, "not the password at all"));
        let refused = join_all(tries).await.iter().filter(|(_, page)| page.status == 429).count();
        let row = app.read(|conn| store::staff_member(conn, app.service_id, person.id));
        assert_eq!(usize::try_from(row.failed_count).expect("a count") + refused, 8);
    }

    // --- sessions -------------------------------------------------------------------------------------------------

    async fn signing_out_ends_the_session_everywhere(app: TestApp) {
        let client = app.as_role(Role::Nurse);
        let elsewhere = client.again();
        assert!(is_open(&elsewhere).await);
        let page = client.post("/sign-out", &[]).await.expect(303);
        assert_eq!(page.location().as_deref(), Some("/sign-in"));
        let cookie = page.set_cookies().concat();
        assert!(cookie.starts_with("__Host-roundel=;") && cookie.contains("Max-Age=0"), "{cookie}");
        assert_eq!(client.cookie(), None);
        assert!(!is_open(&elsewhere).await);
        assert_eq!(last_outcome(&app, "sign-out"), "ok");
    }

    async fn a_session_ends_when_it_is_not_used(app: TestApp) {
        let client = app.as_role(Role::Nurse);
        app.wait(Duration::minutes(IDLE_MINUTES) - Duration::seconds(1));
        assert!(is_open(&client).await);
        // Used, it lasts on.
        app.wait(Duration::minutes(IDLE_MINUTES) - Duration::seconds(1));
        assert!(is_open(&client).await);
        app.wait(Duration::minutes(IDLE_MINUTES));
        let page = client.get("/account").await.expect(303);
        assert_eq!(page.location().as_deref(), Some("/sign-in?next=%2Faccount&ended=true"));
        let page = client.get("/sign-in?next=%2Faccount&ended=true").await.expect(200);
        assert!(page.words().contains("the session has ended"), "{}", page.words());
        assert_eq!(page.value("next").as_deref(), Some("/account"));
        // What was typed in the meantime is not written.
        client.post("/account/password", &[("current", PASSWORD)]).await.expect(401);
    }

    async fn a_session_ends_after_a_shift_however_busy(app: TestApp) {
        let client = app.as_role(Role::Nurse);
        let steps = SESSION_HOURS * 60 / 10;
        for _ in 1..steps {
            app.wait(Duration::minutes(10));
            assert!(is_open(&client).await);
        }
        app.wait(Duration::minutes(10));
        assert!(!is_open(&client).await);
    }

    async fn a_made_up_cookie_opens_nothing(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        for made_up in ["", "0", &"0".repeat(64), &"f".repeat(5000), "' OR 1=1"] {
            assert!(!is_open(&app.anonymous().with_session(person.id, made_up, "")).await, "{made_up}");
        }
    }

    async fn roles_taken_away_are_gone_at_the_next_click(app: TestApp) {
        let client = app.as_roles(app.service_id, &[Role::Nurse, Role::Administrator]);
        client.get("/staff").await.expect(200);
        let (service, id) = (app.service_id, client.staff.expect("somebody"));
        app.write(move |tx| store::set_roles(tx, service, id, &[Role::Nurse]));
        client.get("/staff").await.expect(403);
    }

    // --- staff ----------------------------------------------------------------------------------------------------

    async fn access_taken_away_ends_at_once(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let client = app.db_session(app.service_id, &person);
        assert!(is_open(&client).await);
        let path = format!("/staff/{}", person.id);
        administrator.get("/staff").await.expect(200);
        administrator.post(&path, &[("act", "close")]).await.expect(303);
        assert!(!is_open(&client).await);
        sign_in(&app, &person.sign_in_name, PASSWORD).await.1.expect(422);
        administrator.post(&path, &[("act", "open")]).await.expect(303);
        assert!(!is_open(&client).await, "an ended session stays ended");
        sign_in(&app, &person.sign_in_name, PASSWORD).await.1.expect(303);
    }

    async fn an_administrator_cannot_lock_themselves_out(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let path = format!("/staff/{}", administrator.staff.expect("somebody"));
        administrator.post(&path, &[("act", "close")]).await.expect(409);
        assert!(is_open(&administrator).await);
    }

    async fn another_services_people_are_not_there(app: TestApp) {
        let other = app.add_service("Another Trust");
        let stranger = app.db_person(other, &[Role::Nurse]);
        let administrator = app.as_role(Role::Administrator);
        let page = administrator.get("/staff").await.expect(200);
        assert!(!page.text.contains(&stranger.sign_in_name));
        for act in ["link", "close", "open"] {
            administrator.post(&format!("/staff/{}", stranger.id), &[("act", act)]).await.expect(404);
        }
        sign_in(&app, &stranger.sign_in_name, PASSWORD).await.1.expect(303);
    }

    async fn a_member_of_staff_needs_a_name_a_sign_in_name_and_a_role(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let taken = app.db_person(app.service_id, &[Role::Nurse]);
        let before = app.read(|conn| store::everybody(conn, app.service_id)).len();
        for fields in [
            &[("name", ""), ("sign_in_name", "robin@clinic.example"), ("roles", "nurse")][..],
            &[("name", "Robin"), ("sign_in_name", "ro"), ("roles", "nurse")],
            &[("name", "Robin"), ("sign_in_name", "robin@clinic.example")],
            &[("name", "Robin"), ("sign_in_name", "robin@clinic.example"), ("roles", "surgeon")],
            &[("name", "Robin"), ("sign_in_name", &taken.sign_in_name), ("roles", "nurse")],
        ] {
            let page = administrator.post("/staff", fields).await.expect(422);
            assert!(page.first("title").starts_with("Error: "), "{fields:?}");
        }
        assert_eq!(app.read(|conn| store::everybody(conn, app.service_id)).len(), before);
    }

    // --- one-time links -------------------------------------------------------------------------------------------

    async fn a_link_works_once(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let (link, _) = new_member(&app, &administrator, "robin@clinic.example").await;
        sign_in(&app, "robin@clinic.example", PASSWORD).await.1.expect(422);
        let client = app.anonymous();
        let page = client.get(&link).await.expect(200);
        assert!(page.words().contains("Robin Example"), "{}", page.words());
        // Looking at it, or a password that will not do, does not use it up.
        client.post(&link, &[("password", "short"), ("again", "short")]).await.expect(422);
        client.post(&link, &[("password", PASSWORD), ("again", PASSWORD)]).await.expect(303);
        client.get(&link).await.expect(400);
        client.post(&link, &[("password", ANOTHER_PASSWORD), ("again", ANOTHER_PASSWORD)]).await.expect(400);
        sign_in(&app, "robin@clinic.example", ANOTHER_PASSWORD).await.1.expect(422);
        sign_in(&app, "robin@clinic.example", PASSWORD).await.1.expect(303);
    }

    async fn a_link_used_twice_at_the_same_moment_works_once(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let (link, _) = new_member(&app, &administrator, "robin@clinic.example").await;
        let words = [PASSWORD, ANOTHER_PASSWORD, PASSWORD, ANOTHER_PASSWORD];
        let clients: Vec<Client> = words.iter().map(|_| app.anonymous()).collect();
        let uses = clients.iter().zip(words).map(|(client, word)| {
            let link = link.clone();
            async move { client.post(&link, &[("password", word), ("again", word)]).await.status }
        });
        let mut statuses = join_all(uses).await;
        statuses.sort_unstable();
        assert_eq!(statuses, [303, 400, 400, 400]);
    }

    async fn a_link_expires(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let (link, _) = new_member(&app, &administrator, "robin@clinic.example").await;
        app.wait(Duration::hours(store::LINK_HOURS) - Duration::seconds(1));
        app.anonymous().get(&link).await.expect(200);
        app.wait(Duration::seconds(1));
        app.anonymous().get(&link).await.expect(400);
        app.anonymous().post(&link, &[("password", PASSWORD), ("again", PASSWORD)]).await.expect(400);
        sign_in(&app, "robin@clinic.example", PASSWORD).await.1.expect(422);
    }

    async fn a_new_link_takes_the_place_of_the_old_one(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let (old, path) = new_member(&app, &administrator, "robin@clinic.example").await;
        let page = administrator.post(&path, &[("act", "link")]).await.expect(200);
        let new = link_on(&page);
        assert_ne!(old, new);
        app.anonymous().get(&old).await.expect(400);
        app.anonymous().get(&new).await.expect(200);
        // And none works for somebody whose access has ended.
        administrator.post(&path, &[("act", "close")]).await.expect(303);
        app.anonymous().get(&new).await.expect(400);
    }

    async fn a_made_up_link_is_no_link(app: TestApp) {
        for path in ["/link/0", "/link/%00", &format!("/link/{}", "0".repeat(64))] {
            app.anonymous().get(path).await.expect(400);
        }
    }

    // --- passwords ------------------------------------------------------------------------------------------------

    async fn changing_the_password_ends_every_session(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let client = app.db_session(app.service_id, &person);
        let elsewhere = app.db_session(app.service_id, &person);
        client.get("/account").await.expect(200);
        let change = |current: &'static str, new: &'static str| {
            let client = &client;
            async move { client.post("/account/password", &[("current", current), ("password", new), ("again", new)]).await }
        };
        let wrong = change("not the password at all", ANOTHER_PASSWORD).await.expect(422);
        assert!(wrong.words().contains("not your present password"), "{}", wrong.words());
        change(PASSWORD, "short").await.expect(422);
        assert!(is_open(&elsewhere).await);
        change(PASSWORD, ANOTHER_PASSWORD).await.expect(303);
        assert!(!is_open(&client).await && !is_open(&elsewhere).await);
        sign_in(&app, &person.sign_in_name, PASSWORD).await.1.expect(422);
        sign_in(&app, &person.sign_in_name, ANOTHER_PASSWORD).await.1.expect(303);
    }

    // --- where forms come from ------------------------------------------------------------------------------------

    async fn a_form_without_its_token_is_refused(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Nurse]);
        let client = app.db_session(app.service_id, &person);
        let other = app.as_role(Role::Nurse);
        let others_token = other.token().expect("a token");
        let mine = client.token().expect("a token");
        for token in [None, Some(""), Some("0"), Some(others_token.as_str()), Some(&mine[..63]), Some("%")] {
            let fields: Vec<(&str, &str)> = token.map(|token| ("csrf", token)).into_iter().collect();
            client.post_only("/sign-out", &fields).await.expect(403);
            assert!(is_open(&client).await, "{token:?}");
        }
        client.post_only("/sign-out", &[("csrf", &mine)]).await.expect(303);
    }

    async fn a_form_from_elsewhere_is_refused(app: TestApp) {
        let client = app.as_role(Role::Nurse);
        let token = client.token().expect("a token");
        let host = app.address.to_string();
        let send = async |path: &str, headers: &[(&str, &str)]| {
            let mut request = client.without_origin(Method::POST, path);
            for (name, value) in headers {
                request = request.header(*name, *value);
            }
            client.again().send(form(request, &[("csrf", &token), ("user", "a"), ("password", "b")])).await.status
        };
        let ours = format!("http://{host}");
        let nearly = format!("http://{host}.elsewhere.example");
        for headers in [
            &[("sec-fetch-site", "cross-site")][..],
            &[("sec-fetch-site", "same-site")],
            &[("sec-fetch-site", "none")],
            &[("sec-fetch-site", "cross-site"), ("origin", ours.as_str())],
            &[("origin", "https://elsewhere.example")],
            &[("origin", nearly.as_str())],
            &[("origin", "null")],
            &[("origin", "")],
            &[],
        ] {
            assert_eq!(send("/sign-out", headers).await, 403, "{headers:?}");
            assert_eq!(send("/sign-in", headers).await, 403, "{headers:?}");
            assert!(is_open(&client).await, "{headers:?}");
        }
        // A browser that does not say `sec-fetch-site` says at least the origin.
        assert_eq!(send("/sign-in", &[("origin", &ours)]).await, 422);
        assert_eq!(send("/sign-out", &[("origin", &ours)]).await, 303);
    }

    async fn nobody_is_sent_elsewhere_after_signing_in(app: TestApp) {
        let person = app.db_person(app.service_id, &[Role::Administrator]);
        for (next, leads) in [
            ("/account", "/account"),
            ("/patients?page=2", "/patients?page=2"),
            ("", "/staff"),
            ("//elsewhere.example", "/staff"),
            ("///elsewhere.example", "/staff"),
            ("/\\elsewhere.example", "/staff"),
            ("https://elsewhere.example", "/staff"),
            ("elsewhere.example", "/staff"),
            ("javascript:alert(1)", "/staff"),
            // A browser leaves tabs and line ends out of an address before it reads it.
            ("/\t/elsewhere.example", "/staff"),
            ("/\n/elsewhere.example", "/staff"),
            ("/account\r\nset-cookie: a=b", "/staff"),
        ] {
            let query = serde_html_form::to_string([("next", next)]).expect("a query");
            let page = app.anonymous().get(&format!("/sign-in?{query}")).await.expect(200);
            assert_eq!(page.value("next").unwrap_or_default(), if leads == next { next } else { "" }, "{next:?}");
            let fields = [("user", person.sign_in_name.as_str()), ("password", PASSWORD), ("next", next)];
            let page = app.anonymous().post("/sign-in", &fields).await.expect(303);
            assert_eq!(page.location().as_deref(), Some(leads), "{next:?}");
        }
    }

    // --- headers --------------------------------------------------------------------------------------------------

    async fn every_answer_carries_the_headers(app: TestApp) {
        let client = app.as_role(Role::Nurse);
        let style = client.get("/sign-in").await.attributes("link[rel=stylesheet]", "href").concat();
        let mut answers = vec![
            client.get("/account").await.expect(200),
            client.get("/").await.expect(303),
            client.get("/staff").await.expect(403),
            client.get("/no-such-page").await.expect(404),
            client.get("/staff/not-an-id/at-all").await.expect(404),
            client.post("/account/password", &[]).await.expect(422),
            client.post_only("/sign-out", &[]).await.expect(403),
            client.get("/livez").await.expect(200),
            client.get("/readyz").await.expect(200),
            client.get(&style).await.expect(200),
            client.get("/static/0/none.css").await.expect(404),
            app.anonymous().get("/account").await.expect(303),
            app.anonymous().post("/sign-out", &[]).await.expect(401),
            app.anonymous().get("/sign-in").await.expect(200),
        ];
        answers.push(client.send(client.request(Method::PUT, "/account")).await);
        answers.push(client.send(client.request(Method::from_bytes(b"BREW").expect("a word"), "/sign-in")).await);
        for page in &answers {
            let header = |name: &str| page.header(name).unwrap_or_else(|| panic!("{} lacks {name}", page.path)).to_owned();
            let policy = header("content-security-policy");
            assert_eq!(policy, headers::CONTENT_SECURITY_POLICY);
            for part in ["default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'"] {
                assert!(policy.contains(part), "{policy}");
            }
            assert!(!policy.contains("unsafe"), "{policy}");
            assert_eq!(header("x-content-type-options"), "nosniff");
            assert_eq!(header("referrer-policy"), "same-origin");
            assert_eq!(header("x-frame-options"), "DENY");
            assert_eq!(header("cross-origin-opener-policy"), "same-origin");
            assert_eq!(header("cross-origin-resource-policy"), "same-origin");
            assert!(header("strict-transport-security").starts_with("max-age="));
            assert!(page.header("permissions-policy").is_some() && page.header("server").is_none());
            let cached = header("cache-control");
            assert_eq!(cached == "no-store", page.path != style, "{}: {cached}", page.path);
        }
        for page in answers.iter().filter(|page| page.status >= 400) {
            assert!(!page.heading().is_empty() && page.has("main"), "{} is a page of ours: {}", page.path, page.text);
        }
    }

    async fn an_unknown_failure_tells_nothing_but_its_number(app: TestApp) {
        let client = app.as_role(Role::Administrator);
        raw::run(&mut app.outside(), "ALTER TABLE staff_roles RENAME TO staff_roles_away").expect("a table taken away");
        let page = client.get("/staff").await.expect(500);
        let words = page.words().to_lowercase();
        for word in ["staff_roles", "sql", "table", "relation", "column", "panicked", ".rs"] {
            assert!(!words.contains(word), "{word} in: {words}");
        }
        assert!(words.contains("number of this request"), "{words}");
    }
}

/// All that the database keeps, as bytes: the files of SQLite, every row of PostgreSQL as text.
fn everything_kept(app: &TestApp) -> Vec<u8> {
    match app.backend {
        Backend::Sqlite => {
            let folder = std::fs::read_dir(app.database.folder()).expect("the folder");
            folder.flatten().flat_map(|entry| std::fs::read(entry.path()).expect("a file")).collect()
        }
        Backend::Postgres => {
            let mut conn = app.outside();
            let tables =
                "SELECT table_name AS text FROM information_schema.tables WHERE table_schema = current_schema()";
            let tables = raw::texts(&mut conn, tables);
            tables
                .iter()
                .flat_map(|table| raw::texts(&mut conn, &format!("SELECT {table}::text AS text FROM {table}")))
                .flat_map(String::into_bytes)
                .collect()
        }
    }
}

// --- rules of passwords: NIST SP 800-63B-4 (2025), 3.1.1.2: at least 15 characters where a password stands alone, at
// --- least 64 taken, no rule of composition, common ones and the account's own name refused --------------------------

#[test]
fn which_passwords_are_taken() {
    let fifteen = "abcdefghijklmno";
    let long = "lantern otter quilt spade ".repeat(9);
    let too_long = "lantern otter quilt spade ".repeat(10);
    assert!(long.len() > 64 && long.len() <= passwords::LONGEST && too_long.len() > passwords::LONGEST);
    for good in [fifteen, PASSWORD, &long, "пятнадцать букв и ещё", "no digit no capital no sign"] {
        assert_eq!(passwords::problem(good, "robin@clinic.example"), None, "{good}");
    }
    for (bad, says) in [
        ("", "at least 15"),
        ("abcdefghijklmn", "at least 15"),
        ("пятнадцать", "at least 15"),
        (too_long.as_str(), "at most 256"),
        ("PasswordPassword", "easy to guess"),
        ("correct horse battery staple", "easy to guess"),
        ("aaaaaaaaaaaaaaaaaaaa", "easy to guess"),
        ("abababababababababab", "easy to guess"),
        ("my Robin@Clinic.Example password", "sign-in name"),
    ] {
        let problem = passwords::problem(bad, "robin@clinic.example").unwrap_or_default();
        assert!(problem.contains(says), "{bad}: {problem}");
    }
}

#[test]
fn a_password_is_the_same_however_its_accents_are_typed() {
    let hash = passwords::hash("cr\u{e8}me br\u{fb}l\u{e9}e \u{e0} midi").expect("a hash");
    let typed = "cre\u{300}me bru\u{302}le\u{301}e a\u{300} midi";
    assert!(passwords::verify(typed, Some(&hash)).expect("an answer"));
    assert!(!passwords::verify("creme brulee a midi", Some(&hash)).expect("an answer"));
    assert!(!passwords::verify(typed, None).expect("an answer"));
    assert_ne!(hash, passwords::hash(typed).expect("a hash"), "every hash has a salt of its own");
}

#[test]
fn a_hash_that_cannot_be_read_lets_nobody_in() {
    for stored in ["", "plain words", "$argon2id$v=19$m=19456,t=2,p=1$", PASSWORD] {
        assert!(!passwords::verify(PASSWORD, Some(stored)).unwrap_or(false), "{stored}");
    }
}

#[test]
fn secrets_are_long_and_differ() {
    let some: Vec<String> = (0..100).map(|_| secrets::fresh().expect("randomness")).collect();
    let mut different = some.clone();
    different.sort();
    different.dedup();
    assert_eq!(different.len(), 100);
    assert!(some.iter().all(|secret| secret.len() == 64));
}

/// A person is one thing, a session another: what a test signs in by hand is what the page would have made.
#[test]
fn the_harness_signs_in_as_the_page_does() {
    crate::support::block_on(async {
        let app = TestApp::start(Backend::Sqlite);
        let person: Person = app.db_person(app.service_id, &[Role::Lead]);
        let by_hand = app.db_session(app.service_id, &person);
        let (by_page, _) = sign_in(&app, &person.sign_in_name, PASSWORD).await;
        let words =
            [by_hand.get("/account").await.expect(200).words(), by_page.get("/account").await.expect(200).words()];
        assert_eq!(words[0], words[1]);
    });
}
