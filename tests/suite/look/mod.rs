//! The look and what is measured of it: colours, every page in every role in a browser and from outside, identity rules,
//! sizes, weight, keyboard. The pages are taken from the list of routes: a page that is not known here fails the tests.

mod banner;
mod bars;
mod every_page;
mod identity;
mod in_browser;
mod keyboard;
mod parts;
mod pictures;
mod sizes;
mod tokens;
mod weight;

use actix_web::http::Method;
use diesel::prelude::*;
use roundel::access::roles::{ALL, Role};
use roundel::access::{secrets, store};
use roundel::db::ids::{PatientId, PrescriptionId, ServiceId, StaffId, StomaId};
use roundel::demo::ACCOUNTS;
use roundel::follow_up::protocols;
use roundel::follow_up::rules::protocol::Protocol;
use roundel::follow_up::rules::shipped::shipped;
use roundel::provenance::Standing;
use roundel::routes::{Need, ROUTES, Route};

use crate::jobs::{demonstration, patient};
use crate::support::{Client, TestApp};

/// Routes that answer with no page, each with what it is.
const NO_PAGES: [(&str, &str); 9] = [
    ("/", "leads to the first page of one's role"),
    ("/static/{stamp}/{file:.*}", "style, script, fonts"),
    ("/livez", "for machines"),
    ("/readyz", "for machines"),
    ("/dates", "the reading of a date in words, for the script"),
    ("/session", "how long a session has left, for the script"),
    ("/patients/{id}/photographs/{photograph}/picture", "a picture"),
    ("/prescriptions/{id}/summary.pdf", "a PDF, checked by print.rs"),
    ("/prescriptions/{id}/routine.pdf", "a PDF"),
];

/// The demonstration with what its pages need to be found.
pub struct Ground {
    /// The running service.
    pub app: TestApp,
    /// The invented service.
    pub service: ServiceId,
    lives: PatientId,
    died: PatientId,
    two_stomas: PatientId,
    link: String,
    colleague: StaffId,
    /// A protocol of the service's own, as a draft.
    own: String,
}

/// A page and who looks at it.
#[derive(Clone, Debug)]
pub struct Place {
    /// As the list of routes writes it.
    pub route: &'static str,
    /// Where it is.
    pub path: String,
    /// Who may see it; none: nobody is signed in.
    pub role: Option<Role>,
}

impl Place {
    /// "nurse /week".
    pub fn name(&self) -> String {
        format!("{} {}", self.role.map_or("nobody", Role::code), self.route)
    }

    /// Whether it is about one patient.
    pub fn about_one(&self) -> bool {
        let below = self.route.strip_prefix("/patients/{id}").is_some();
        below || self.route.starts_with("/prescriptions/{id}")
    }
}

impl Ground {
    /// Makes the demonstration.
    pub fn new() -> Self {
        let app = demonstration();
        let held = app.read(store::services);
        let service = held.iter().find(|s| s.demo).expect("the demonstration").id;
        let (lives, died) = (patient(&app, "Heatherby"), patient(&app, "Cranleigh"));
        let two_stomas = patient(&app, "Żukowicz");
        let token = secrets::fresh().expect("a token");
        let hash = secrets::hash(&token);
        app.write_as(&app.actor(service), move |tx| {
            let row = store::new_staff(service, "newcomer", "Petra Newcombe", tx.now());
            let id = row.id;
            store::add_staff(tx, &row, &[Role::Nurse])?;
            store::add_link(tx, service, id, &hash)
        });
        let everybody = app.read(|conn| store::everybody(conn, service));
        let colleague = everybody.iter().find(|s| s.sign_in_name == Self::account(Role::Nurse)).expect("a nurse").id;
        let own = app.write_as(&app.actor(service), move |tx| {
            let from = shipped().first().expect("a shipped protocol").clone();
            let title = format!("{} (own copy)", from.title);
            let id = protocols::free_code(tx.conn(), service, &title)?;
            let copy = Protocol { id, title, version: 1, year: None, address: None, standing: Standing::Local, ..from };
            Ok(protocols::create(tx, &copy, "a shipped one")?.code)
        });
        Self { app, service, lives, died, two_stomas, link: format!("/link/{token}"), colleague, own }
    }

    /// Somebody of the demonstration in this role, without a screen.
    pub fn client(&self, role: Option<Role>) -> Client {
        role.map_or_else(|| self.app.anonymous(), |role| self.app.as_roles(self.service, &[role]))
    }

    /// The sign-in name of the role's account.
    pub fn account(role: Role) -> &'static str {
        ACCOUNTS.iter().find(|(.., r)| *r == role).expect("an account").0
    }

    fn stoma(&self) -> StomaId {
        use roundel::db::schema::stomas::dsl::{id, patient_id, stomas};
        let of = self.lives;
        self.app.read(|conn| Ok(stomas.filter(patient_id.eq(of)).select(id).first(conn)?))
    }

    fn prescription(&self) -> PrescriptionId {
        use roundel::db::schema::prescriptions::dsl::{id, number, patient_id, prescriptions, status};
        let signed = prescriptions.filter(patient_id.eq(self.lives)).filter(status.eq("signed"));
        self.app.read(|conn| Ok(signed.order(number.desc()).select(id).first(conn)?))
    }

    /// Where a route's pages are.
    ///
    /// # Panics
    /// When the route has a variable that is not known here.
    fn addresses(&self, route: &Route) -> Vec<String> {
        let lives = self.lives.to_string();
        match route.path {
            "/link/{token}" => vec![self.link.clone()],
            "/help/{topic}" => roundel::help::words::topics().iter().map(|t| format!("/help/{}", t.id)).collect(),
            "/help/guides/{role}" => ALL.map(|role| format!("/help/guides/{}", role.code())).to_vec(),
            path if path.starts_with("/protocols/{code}") => vec![path.replace("{code}", &self.own)],
            "/staff/{id}" => vec![format!("/staff/{}", self.colleague)],
            "/patients/{id}" => [self.lives, self.died, self.two_stomas].map(|id| format!("/patients/{id}")).to_vec(),
            "/calibration/{case}" => {
                let cases = roundel::skin::rules::calibration::shipped().expect("cases");
                cases.cases.first().iter().map(|case| format!("/calibration/{}", case.id)).collect()
            }
            path if path.starts_with("/prescriptions/{id}/") => {
                vec![path.replace("{id}", &self.prescription().to_string())]
            }
            path => {
                let path = match path.strip_prefix("/patients/{id}") {
                    Some(rest) => format!("/patients/{lives}{rest}").replace("{stoma}", &self.stoma().to_string()),
                    None => path.to_owned(),
                };
                assert!(!path.contains('{'), "{path} is a new page: give it an address in tests/suite/look/mod.rs");
                vec![path]
            }
        }
    }

    /// Every page, once for each role that may see it. Where a route has several, all are shown to the nurse (or to nobody,
    /// where nobody need be signed in) and the first to everybody else.
    pub fn places(&self) -> Vec<Place> {
        let mut places = Vec::new();
        for route in ROUTES.iter().filter(|r| r.method == Method::GET) {
            if NO_PAGES.iter().any(|(path, _)| *path == route.path) {
                continue;
            }
            let roles: Vec<Option<Role>> = match route.need {
                Need::Public => vec![None],
                Need::Anyone => [None].into_iter().chain(ALL.into_iter().map(Some)).collect(),
                Need::SignedIn => ALL.into_iter().map(Some).collect(),
                Need::May(p) => ALL.into_iter().filter(|r| r.permissions().contains(&p)).map(Some).collect(),
            };
            for (nth, path) in self.addresses(route).into_iter().enumerate() {
                for role in &roles {
                    let first = if roles.contains(&None) { None } else { Some(Role::Nurse) };
                    if nth == 0 || *role == first {
                        places.push(Place { route: route.path, path: path.clone(), role: *role });
                    }
                }
            }
        }
        places
    }
}

/// The roles whose pages these are, in the order in which they come; nobody first.
pub fn roles_of(places: &[Place]) -> Vec<Option<Role>> {
    let mut roles: Vec<Option<Role>> = places.iter().map(|p| p.role).collect();
    roles.sort();
    roles.dedup();
    roles
}

#[test]
fn every_exception_is_a_route() {
    for (path, _) in NO_PAGES {
        assert!(ROUTES.iter().any(|r| r.path == path), "{path} is no route any more");
    }
}
