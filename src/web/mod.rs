//! What every page shares: state, who is signed in, forms, errors as pages, rendering, headers, assets.
//!
//! This room knows no feature. Features know it; the list of routes and the gate that enforces it stand above.

pub mod assets;
pub mod chart;
pub mod components;
pub mod error;
pub mod extract;
pub mod form_view;
pub mod headers;
pub mod packed;
pub mod permission;
pub mod render;
pub mod shell;
pub mod signed;
pub mod state;
pub mod upload;
pub mod views;

pub use error::AppError;
pub use extract::{PathOf, Posted, PostedBoth, QueryOf};
pub use permission::Permission;
pub use render::{page, see_other};
pub use signed::Signed;
pub use state::State;

/// What a handler answers.
pub type Answer = Result<actix_web::HttpResponse, AppError>;
