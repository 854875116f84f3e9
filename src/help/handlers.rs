//! The pages of the help. Who is signed in sees them in their own frame, and that counts as using the session.

use actix_web::http::StatusCode;
use actix_web::web;

use super::pages::{GuidePage, IndexPage, TopicPage};
use super::words;
use crate::audit::{Event, view};
use crate::web::shell::Shell;
use crate::web::{Answer, AppError, PathOf, Signed, State, assets, page};

async fn frame(state: &State, signed: Option<Signed>, title: String) -> Result<Shell, AppError> {
    let Some(signed) = signed else {
        return Ok(assets::anonymous_shell(&title, !state.demo_sign_ins.is_empty()));
    };
    view(&state.db, &signed.actor, |_| Ok(((), Event::read("help")))).await?;
    Ok(signed.shell(title, "/help"))
}

/// `GET /help`
pub async fn index(state: web::Data<State>, signed: Option<Signed>) -> Answer {
    let of = |topic: &'static words::Topic| topic.jobs.iter().filter(|job| job.first).map(move |job| (topic, job));
    let shown = IndexPage {
        shell: frame(&state, signed, "Help".to_owned()).await?,
        jobs: words::topics().iter().flat_map(of).collect(),
        topics: words::topics(),
        network: words::network(),
        guides: words::guides(),
    };
    page(StatusCode::OK, &shown)
}

/// `GET /help/{topic}`
pub async fn topic(state: web::Data<State>, signed: Option<Signed>, path: PathOf<String>) -> Answer {
    let topic = words::topic(&path.into_inner()).ok_or(AppError::NotFound)?;
    let shell = frame(&state, signed, format!("Help: {}", topic.title)).await?;
    page(StatusCode::OK, &TopicPage { shell, topic })
}

/// `GET /help/guides/{role}`: one page of paper for somebody with this role.
pub async fn guide(state: web::Data<State>, signed: Option<Signed>, path: PathOf<String>) -> Answer {
    let guide = words::guide(&path.into_inner()).ok_or(AppError::NotFound)?;
    let shell = frame(&state, signed, guide.title.clone()).await?;
    let shown = GuidePage { shell, guide, network: words::network(), version: env!("CARGO_PKG_VERSION") };
    page(StatusCode::OK, &shown)
}
