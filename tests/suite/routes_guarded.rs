//! Every route of the list, by everybody: who is not signed in and who lacks the permission is refused, and the
//! refusal is in the log. Nobody has to remember to add a route here: the list itself is walked.

use reqwest::Method;
use roundel::access::roles::{self, Role};
use roundel::db::ids::PatientId;
use roundel::routes::{Need, ROUTES, Route};

use crate::both_backends;
use crate::support::{Client, Page};

/// The path with made-up ids: a permission is asked for before anything is looked up.
fn made_up(route: &Route) -> String {
    let id = PatientId::new().to_string();
    let parts = route.path.split('/').map(|part| if part.starts_with('{') { id.as_str() } else { part });
    parts.collect::<Vec<_>>().join("/")
}

fn method(route: &Route) -> Method {
    Method::from_bytes(route.method.as_str().as_bytes()).expect("a method")
}

async fn ask(client: &Client, route: &Route) -> Page {
    let token = client.token();
    let request = client.request(method(route), &made_up(route));
    let request = if route.method == actix_web::http::Method::POST {
        let fields: Vec<(&str, &str)> = token.as_deref().map(|t| ("csrf", t)).into_iter().collect();
        crate::support::client::form(request, &fields)
    } else {
        request
    };
    client.send(request).await
}

#[test]
fn the_list_names_each_route_once() {
    let mut seen: Vec<(String, &str)> = ROUTES.iter().map(|r| (r.method.to_string(), r.path)).collect();
    let all = seen.len();
    seen.sort();
    seen.dedup();
    assert_eq!(seen.len(), all);
    assert!(all > 40, "{all} routes");
}

#[test]
fn few_routes_are_public_and_each_is_meant() {
    let public: Vec<String> =
        ROUTES.iter().filter(|r| r.need == Need::Public).map(|r| format!("{} {}", r.method, r.path)).collect();
    assert_eq!(
        public,
        [
            "GET /sign-in",
            "POST /sign-in",
            "GET /link/{token}",
            "POST /link/{token}",
            "GET /static/{stamp}/{file:.*}",
            "GET /livez",
            "GET /readyz"
        ]
    );
    let anyone: Vec<&str> = ROUTES.iter().filter(|r| r.need == Need::Anyone).map(|r| r.path).collect();
    assert_eq!(anyone, ["/help", "/help/{topic}", "/help/guides/{role}"], "help holds words only");
}

both_backends! {
    async fn nobody_gets_past_the_gate_without_signing_in(app: TestApp) {
        let nobody = app.anonymous();
        for route in ROUTES.iter().filter(|r| !matches!(r.need, Need::Public | Need::Anyone)) {
            let page = ask(&nobody, route).await;
            let refused = match page.status {
                303 => page.location().is_some_and(|l| l.starts_with("/sign-in?")),
                status => status == 401,
            };
            assert!(refused, "{} {}: {}", route.method, route.path, page.status);
        }
    }

    async fn every_role_that_lacks_the_permission_is_refused_and_the_refusal_is_logged(app: TestApp) {
        let mut tried = 0;
        for role in roles::ALL {
            let client = app.as_role(role);
            for route in ROUTES.iter() {
                let Need::May(permission) = route.need else { continue };
                if role.permissions().contains(&permission) {
                    continue;
                }
                let before = app.last_event();
                let page = ask(&client, route).await;
                assert_eq!(page.status, 403, "{} on {} {}", role.code(), route.method, route.path);
                let events = app.events_after(before);
                assert!(
                    events.iter().any(|e| e.outcome == "refused" && e.staff_id == client.staff),
                    "{} on {} {} is not in the log",
                    role.code(),
                    route.method,
                    route.path
                );
                tried += 1;
            }
        }
        assert!(tried > 100, "only {tried} refusals were tried");
    }

    async fn a_role_that_has_the_permission_is_let_through(app: TestApp) {
        for role in roles::ALL {
            let client = app.as_role(role);
            for route in ROUTES.iter().filter(|r| r.method == actix_web::http::Method::GET && !r.path.contains('{')) {
                let Need::May(permission) = route.need else { continue };
                if role.permissions().contains(&permission) {
                    let page = client.get(route.path).await;
                    assert_eq!(page.status, 200, "{} on {}", role.code(), route.path);
                }
            }
        }
    }

    async fn what_is_not_in_the_list_is_not_there(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        for path in ["/nothing", "/patients/not-an-id", "/static/x/../Cargo.toml", "/admin"] {
            let page = nurse.get(path).await;
            assert_eq!(page.status, 404, "{path}: {}", page.words());
            assert!(page.has("h1"), "{path} answers with a page of ours");
        }
        // A method that a path does not have.
        let page = nurse.send(nurse.request(Method::DELETE, "/week")).await;
        assert_eq!(page.status, 404);
    }
}

both_backends! {
    /// What answers GET answers HEAD in the same way, without a body (RFC 9110, 9.3.2), and needs the same.
    async fn head_answers_as_get_does(app: TestApp) {
        let nurse = app.as_role(Role::Nurse);
        for path in ["/week", "/patients", "/audit", "/livez", "/nowhere", "/sign-in"] {
            let got = nurse.send(nurse.request(Method::GET, path)).await;
            let head = nurse.send(nurse.request(Method::HEAD, path)).await;
            assert_eq!(head.status, got.status, "{path}");
            assert_eq!(head.header("content-type"), got.header("content-type"), "{path}");
            assert!(head.bytes.is_empty(), "{path}");
        }
        let nobody = app.anonymous();
        assert_eq!(nobody.send(nobody.request(Method::HEAD, "/week")).await.status, 303);
    }
}
