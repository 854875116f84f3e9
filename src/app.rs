//! Building and binding the service. Tests start it the same way, on a free port.

use std::net::{SocketAddr, TcpListener};

use actix_web::dev::Server;
use actix_web::middleware::{Compress, from_fn};
use actix_web::{App, HttpResponse, HttpServer, web};

use crate::access::setup;
use crate::db::StoreError;
use crate::web::{Answer, AppError, QueryOf, Signed, State, see_other};
use crate::{dates_in, display, gate, routes};

/// The service, bound and ready to be awaited.
pub struct Bound {
    /// Where it listens.
    pub address: SocketAddr,
    /// Runs when awaited; ends on SIGINT and SIGTERM after open requests are answered.
    pub server: Server,
}

/// Threads that serve pages. Two: the work of a page is in the database's threads.
const WORKERS: usize = 2;

/// Binds the service.
pub fn bind(state: State, listen: SocketAddr) -> std::io::Result<Bound> {
    let listener = TcpListener::bind(listen)?;
    let address = listener.local_addr()?;
    let state = web::Data::new(state);
    let server = HttpServer::new(move || {
        App::new()
            .app_data(state.clone())
            .wrap(from_fn(gate::gate))
            .wrap(Compress::default())
            .configure(routes::configure)
    })
    .workers(WORKERS)
    .shutdown_timeout(10)
    .listen(listener)?
    .run();
    Ok(Bound { address, server })
}

/// `GET /livez`: the process answers.
pub async fn live() -> Answer {
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("alive\n"))
}

/// `GET /readyz`: the records can be read.
pub async fn ready(state: web::Data<State>) -> Answer {
    let read = state.db.read(crate::audit::store::head).await;
    match read {
        Ok(_) => Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("ready\n")),
        Err(StoreError::Busy(_)) => Err(AppError::Busy),
        Err(error) => Err(error.into()),
    }
}

/// What a date box holds.
#[derive(serde::Deserialize)]
pub struct Typed {
    #[serde(default)]
    text: String,
}

/// `GET /dates`: how a typed date is read, with its weekday, or why it is not. No patient's: a date and today.
pub async fn read_date(state: web::Data<State>, _signed: Signed, typed: QueryOf<Typed>) -> Answer {
    let text = match dates_in::read_date(&typed.0.text, state.clock.today()) {
        Ok(date) => display::weekday_date(date),
        Err(problem) => problem.to_string(),
    };
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(text))
}

/// `GET /`: to the first page of one's role.
pub async fn first_page(state: web::Data<State>, signed: Signed) -> Answer {
    let (service, may) = (signed.service.id, signed.may);
    let first = state.db.read(move |conn| setup::first_page(conn, service, &may)).await?;
    Ok(see_other(first))
}
