//! Every route, in one list, with what it needs beside it. A route that is not here cannot be reached.

use std::collections::HashMap;
use std::sync::LazyLock;

use actix_web::http::Method;
use actix_web::web::{self, ServiceConfig};

use crate::access::{account, sign_in, staff};
use crate::web::Permission::{self, *};
use crate::web::assets;

/// What somebody needs to use a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Nothing.
    Public,
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
    (@route get) => { web::get() };
    (@route post) => { web::post() };
}

use Need::{May, Public, SignedIn};

routes! {
    // Before sign-in, and for machines.
    get  "/sign-in" Public => sign_in::form;
    post "/sign-in" Public => sign_in::sign_in;
    get  "/link/{token}" Public => sign_in::link_form;
    post "/link/{token}" Public => sign_in::use_link;
    get  "/static/{stamp}/{file:.*}" Public => assets::file;
    get  "/livez" Public => crate::app::live;
    get  "/readyz" Public => crate::app::ready;
    // Everybody signed in.
    get  "/" SignedIn => crate::app::first_page;
    post "/sign-out" SignedIn => sign_in::sign_out;
    get  "/account" SignedIn => account::account;
    post "/account/password" SignedIn => account::change_password;
    // People and the log.
    get  "/staff" May(ManageStaff) => staff::list;
    post "/staff" May(ManageStaff) => staff::add;
    post "/staff/{id}" May(ManageStaff) => staff::act;
}

static NEEDS: LazyLock<HashMap<(Method, &'static str), Need>> =
    LazyLock::new(|| ROUTES.iter().map(|r| ((r.method.clone(), r.path), r.need)).collect());

/// What a route needs; `None` when it is not in the list. `HEAD` needs what `GET` needs.
pub fn need(method: &Method, pattern: &str) -> Option<Need> {
    let method = if *method == Method::HEAD { Method::GET } else { method.clone() };
    NEEDS.iter().find(|((m, p), _)| *m == method && *p == pattern).map(|(_, need)| *need)
}

/// Puts every route on the application.
pub fn configure(cfg: &mut ServiceConfig) {
    for route in ROUTES.iter() {
        (route.put)(cfg, route.path);
    }
}
