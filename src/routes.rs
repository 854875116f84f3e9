//! Every route, in one list, with what it needs beside it. A route that is not here cannot be reached.

use std::collections::HashMap;
use std::sync::LazyLock;

use actix_web::guard;
use actix_web::http::Method;
use actix_web::web::{self, ServiceConfig};

use crate::access::{account, member, sessions, sign_in, staff};
use crate::contacts::clinic;
use crate::drafts::handlers as drafts;
use crate::exchange::handlers as import;
use crate::follow_up::{closures, force, protocol_pages as protocols, runs_page, year};
use crate::help::handlers as help;
use crate::record::{access, edit, follow_up, log, page, register, search, stoma};
use crate::service::{choices, settings, sites, welcome};
use crate::skin::calibration::handlers as calibration;
use crate::skin::handlers as skin;
use crate::skin::photographs::handlers as photographs;
use crate::supplies::{catalogue, draft, paper, quantities, routine, signing, summary};
use crate::web::Permission::{
    self, AssessSkin, DrawUpSupplies, EditCatalogue, EditPatients, EditProtocols, EditService, EditStomas,
    FindPatients, ImportCaseload, ManageStaff, ReadAccess, ReadAudit, SeeClinical, SeeReference, SetUpService,
    SignPrescriptions, WorkTheWeek,
};
use crate::web::{assets, components};
use crate::week::{acts, handlers as week, sheets, undo};

/// What somebody needs to use a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Nothing.
    Public,
    /// Nothing; who is signed in sees it in their own frame.
    Anyone,
    /// To be signed in.
    SignedIn,
    /// To be signed in with a role that may do this.
    May(Permission),
}

/// One route.
pub struct Route {
    /// Method.
    pub method: Method,
    /// Path with its variables, as actix writes it.
    pub path: &'static str,
    /// What it needs.
    pub need: Need,
    put: fn(&mut ServiceConfig, &'static str),
}

macro_rules! routes {
    ($($method:ident $path:literal $need:expr => $handler:path;)*) => {
        /// The list.
        pub static ROUTES: LazyLock<Vec<Route>> = LazyLock::new(|| vec![$(
            Route {
                method: routes!(@method $method),
                path: $path,
                need: $need,
                put: |cfg, path| { cfg.route(path, routes!(@route $method).to($handler)); },
            },
        )*]);
    };
    (@method get) => { Method::GET };
    (@method post) => { Method::POST };
    // What answers GET answers HEAD (RFC 9110, 9.3.2); the body is left out on the way.
    (@route get) => { web::route().guard(guard::Any(guard::Get()).or(guard::Head())) };
    (@route post) => { web::post() };
}

use Need::{Anyone, May, Public, SignedIn};

routes! {
    // Before sign-in, and for machines.
    get  "/sign-in" Public => sign_in::form;
    post "/sign-in" Public => sign_in::sign_in;
    get  "/link/{token}" Public => sign_in::link_form;
    post "/link/{token}" Public => sign_in::use_link;
    get  "/static/{stamp}/{file:.*}" Public => assets::file;
    get  "/livez" Public => crate::app::live;
    get  "/readyz" Public => crate::app::ready;
    // Help: words only.
    get  "/help" Anyone => help::index;
    get  "/help/{topic}" Anyone => help::topic;
    get  "/help/guides/{role}" Anyone => help::guide;
    // Everybody signed in.
    get  "/" SignedIn => crate::app::first_page;
    post "/sign-out" SignedIn => sign_in::sign_out;
    get  "/dates" SignedIn => crate::app::read_date;
    post "/drafts" SignedIn => drafts::save;
    post "/drafts/discard" SignedIn => drafts::discard;
    get  "/session" SignedIn => sessions::left;
    post "/session" SignedIn => sessions::stay;
    get  "/account" SignedIn => account::account;
    get  "/account/components" SignedIn => components::components;
    post "/account/components" SignedIn => components::pressed;
    post "/account/password" SignedIn => account::change_password;
    // The week.
    get  "/week" May(WorkTheWeek) => week::list;
    post "/reviews/undo/{id}" May(WorkTheWeek) => undo::undo;
    get  "/week/day" May(WorkTheWeek) => sheets::day;
    get  "/week/downtime" May(WorkTheWeek) => sheets::downtime;
    post "/reviews/{id}/book" May(WorkTheWeek) => acts::book;
    post "/reviews/{id}/unbook" May(WorkTheWeek) => acts::unbook;
    post "/reviews/{id}/ring" May(WorkTheWeek) => acts::ring;
    post "/reviews/{id}/defer" May(WorkTheWeek) => acts::defer;
    post "/reviews/{id}/assign" May(WorkTheWeek) => acts::assign;
    post "/reviews/{id}/outcome" May(WorkTheWeek) => acts::outcome;
    // Patients.
    get  "/patients" May(FindPatients) => search::result;
    post "/patients/search" May(FindPatients) => search::search;
    get  "/patients/new" May(EditPatients) => register::form;
    post "/patients/new" May(EditPatients) => register::register;
    get  "/patients/{id}" May(FindPatients) => page::record;
    get  "/patients/{id}/edit" May(EditPatients) => edit::form;
    post "/patients/{id}/edit" May(EditPatients) => edit::save;
    get  "/patients/{id}/end" May(EditStomas) => edit::end_form;
    post "/patients/{id}/end" May(EditStomas) => edit::end;
    get  "/patients/{id}/stomas/new" May(EditStomas) => stoma::new_form;
    post "/patients/{id}/stomas/new" May(EditStomas) => stoma::add;
    get  "/patients/{id}/stomas/{stoma}" May(EditStomas) => stoma::form;
    post "/patients/{id}/stomas/{stoma}" May(EditStomas) => stoma::save;
    get  "/patients/{id}/stomas/{stoma}/refashion" May(EditStomas) => stoma::refashion_form;
    post "/patients/{id}/stomas/{stoma}/refashion" May(EditStomas) => stoma::refashion;
    get  "/patients/{id}/contacts/new" May(AssessSkin) => clinic::open;
    post "/patients/{id}/contacts/new" May(AssessSkin) => clinic::sign;
    get  "/patients/{id}/skin" May(SeeClinical) => skin::over_time;
    get  "/patients/{id}/photographs" May(SeeClinical) => photographs::list;
    post "/patients/{id}/photographs" May(AssessSkin) => photographs::add;
    get  "/patients/{id}/photographs/{photograph}/picture" May(SeeClinical) => photographs::picture;
    post "/patients/{id}/photographs/{photograph}/remove" May(AssessSkin) => photographs::remove;
    get  "/patients/{id}/follow-up" May(SeeClinical) => follow_up::follow_up;
    post "/patients/{id}/follow-up/together" May(WorkTheWeek) => follow_up::together;
    post "/patients/{id}/follow-up/site" May(WorkTheWeek) => follow_up::site;
    get  "/patients/{id}/access" May(ReadAccess) => access::access;
    // Calibration of the score.
    get  "/calibration" May(AssessSkin) => calibration::list;
    get  "/calibration/results" May(EditService) => calibration::results;
    get  "/calibration/{case}" May(AssessSkin) => calibration::case;
    post "/calibration/{case}" May(AssessSkin) => calibration::answer;
    // Supplies.
    get  "/patients/{id}/supplies" May(SeeClinical) => draft::form;
    post "/patients/{id}/supplies" May(DrawUpSupplies) => draft::post;
    get  "/prescriptions/{id}/summary" May(SeeClinical) => summary::summary;
    get  "/prescriptions/{id}/summary.pdf" May(SeeClinical) => paper::pdf;
    get  "/prescriptions/{id}/routine" May(SeeClinical) => routine::page_of;
    get  "/prescriptions/{id}/routine.pdf" May(SeeClinical) => routine::pdf;
    post "/prescriptions/{id}/sign" May(SignPrescriptions) => signing::sign;
    post "/prescriptions/{id}/stop" May(DrawUpSupplies) => signing::stop;
    // Exchange.
    get  "/import" May(ImportCaseload) => import::form;
    post "/import" May(ImportCaseload) => import::upload;
    post "/import/{id}" May(ImportCaseload) => import::act;
    // Reference.
    get  "/protocols" May(SeeReference) => protocols::list;
    get  "/protocols/{code}" May(SeeReference) => protocols::one;
    get  "/protocols/{code}/text" May(SeeReference) => protocols::text_form;
    get  "/protocols/{code}/compare" May(SeeReference) => protocols::compare_versions;
    post "/protocols/{code}/copy" May(EditProtocols) => protocols::copy;
    get  "/protocols/{code}/draft" May(EditProtocols) => protocols::draft_form;
    post "/protocols/{code}/draft" May(EditProtocols) => protocols::draft;
    post "/protocols/{code}/discard" May(EditProtocols) => protocols::discard;
    post "/protocols/{code}/text" May(EditProtocols) => protocols::text;
    get  "/protocols/{code}/force" May(EditService) => force::form;
    post "/protocols/{code}/force" May(EditService) => force::force;
    get  "/closures" May(SeeReference) => closures::list;
    post "/closures" May(EditService) => closures::add;
    post "/closures/{id}/remove" May(EditService) => closures::remove;
    get  "/follow-up/year" May(SeeReference) => year::year;
    post "/follow-up/year" May(EditService) => year::keep_slots;
    get  "/follow-up/runs" May(EditService) => runs_page::list;
    get  "/catalogue" May(SeeReference) => catalogue::list;
    post "/catalogue" May(EditCatalogue) => catalogue::add;
    post "/catalogue/{id}" May(EditCatalogue) => catalogue::act;
    get  "/quantities" May(SeeReference) => quantities::list;
    post "/quantities" May(EditService) => quantities::choose;
    // The service.
    get  "/welcome" May(SetUpService) => welcome::steps;
    post "/welcome" May(SetUpService) => welcome::act;
    get  "/service" May(SetUpService) => settings::form;
    post "/service" May(EditService) => settings::save;
    post "/service/sites" May(EditService) => sites::add;
    post "/service/sites/{id}" May(EditService) => sites::act;
    get  "/service/protocols" May(SetUpService) => choices::protocols;
    post "/service/protocols" May(EditService) => choices::choose_protocols;
    get  "/service/bands" May(SetUpService) => choices::bands;
    post "/service/bands" May(EditService) => choices::choose_bands;
    // People and the log.
    get  "/audit" May(ReadAudit) => log::list;
    post "/audit/verify" May(ReadAudit) => log::verify;
    get  "/staff" May(ManageStaff) => staff::list;
    post "/staff" May(ManageStaff) => staff::add;
    get  "/staff/{id}" May(ManageStaff) => member::form;
    post "/staff/{id}" May(ManageStaff) => staff::act;
    post "/staff/{id}/roles" May(ManageStaff) => member::save;
}

static NEEDS: LazyLock<HashMap<(Method, &'static str), Need>> =
    LazyLock::new(|| ROUTES.iter().map(|r| ((r.method.clone(), r.path), r.need)).collect());

/// What a route needs; `None` when it is not in the list. HEAD needs what GET does.
pub fn need(method: &Method, pattern: &str) -> Option<Need> {
    let method = if *method == Method::HEAD { &Method::GET } else { method };
    NEEDS.iter().find(|((m, p), _)| m == method && *p == pattern).map(|(_, need)| *need)
}

/// Puts every route on the application.
pub fn configure(cfg: &mut ServiceConfig) {
    for route in ROUTES.iter() {
        (route.put)(cfg, route.path);
    }
}
