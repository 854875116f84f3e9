//! What the tests stand on: the service started as `main` starts it, on either database, with a clock that moves,
//! and people who use it by HTTP or in a browser. Nothing here knows a feature beyond staff and patients.
//!
//! `database` an empty, migrated database of one's own; `app` the service on it; `client` a browser without a screen;
//! `browser` one with a screen; `raw` SQL behind the service's back.
#![allow(dead_code, reason = "helpers for tests that come")]

pub mod app;
pub mod browser;
pub mod client;
pub mod database;
pub mod people;
pub mod raw;

pub use app::TestApp;
pub use client::{Client, Page};
pub use database::{Backend, TestDatabase};
pub use people::Someone;

use std::future::Future;

/// Runs a test on a runtime of its own.
pub fn block_on<T>(future: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    runtime.expect("a runtime").block_on(future)
}

/// Makes two tests of each function, `name::sqlite` and `name::postgresql`.
///
/// `async fn name(app: TestApp) {…}` is given the running service, `fn name(db: TestDatabase) {…}` (or `async fn`) only
/// a migrated database.
#[macro_export]
macro_rules! both_backends {
    () => {};
    ($(#[$about:meta])* async fn $name:ident($app:ident: TestApp) $body:block $($more:tt)*) => {
        $(#[$about])*
        mod $name {
            #[allow(unused_imports, reason = "a short test may need none")]
            use super::*;
            async fn test($app: $crate::support::TestApp) $body
            #[test]
            fn sqlite() {
                $crate::support::block_on(test($crate::support::TestApp::start($crate::support::Backend::Sqlite)));
            }
            #[test]
            fn postgresql() {
                $crate::support::block_on(test($crate::support::TestApp::start($crate::support::Backend::Postgres)));
            }
        }
        $crate::both_backends! { $($more)* }
    };
    ($(#[$about:meta])* async fn $name:ident($db:ident: TestDatabase) $body:block $($more:tt)*) => {
        $(#[$about])*
        mod $name {
            #[allow(unused_imports, reason = "a short test may need none")]
            use super::*;
            async fn test($db: $crate::support::TestDatabase) $body
            #[test]
            fn sqlite() {
                $crate::support::block_on(test($crate::support::TestDatabase::new($crate::support::Backend::Sqlite)));
            }
            #[test]
            fn postgresql() {
                $crate::support::block_on(test($crate::support::TestDatabase::new($crate::support::Backend::Postgres)));
            }
        }
        $crate::both_backends! { $($more)* }
    };
    ($(#[$about:meta])* fn $name:ident($db:ident: TestDatabase) $body:block $($more:tt)*) => {
        $(#[$about])*
        mod $name {
            #[allow(unused_imports, reason = "a short test may need none")]
            use super::*;
            fn test($db: $crate::support::TestDatabase) $body
            #[test]
            fn sqlite() {
                test($crate::support::TestDatabase::new($crate::support::Backend::Sqlite));
            }
            #[test]
            fn postgresql() {
                test($crate::support::TestDatabase::new($crate::support::Backend::Postgres));
            }
        }
        $crate::both_backends! { $($more)* }
    };
}
