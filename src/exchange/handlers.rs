//! The page that brings a spreadsheet in: choose the file, check columns and refused rows, then write every
//! accepted row, or none if the write fails.

use actix_web::http::StatusCode;
use actix_web::{HttpRequest, web};
use chrono::Duration;
use diesel::prelude::*;

use super::bring_in::{self, Outcome};
use super::caseload::columns::LEAVE_OUT;
use super::caseload::{ColumnMap, Field as Wanted, Reading, Survey, read, survey};
use super::pages::{CheckPage, ColumnView, RowView, UploadPage};
use crate::access::store::say;
use crate::audit::{Event, Outcome as LogOutcome, append, view};
use crate::db::ids::{StaffId, UploadId};
use crate::db::schema::uploads;
use crate::db::{Conn, Stamp, StoreError, Tx};
use crate::display::counted;
use crate::once;
use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::upload::receive;
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, page, see_other};

/// Largest file taken, in bytes: 20,000 rows are about 4 MB.
const LARGEST_FILE: usize = 16 * 1024 * 1024;
/// How long an upload is kept that nobody brings in.
const KEPT_HOURS: i64 = 2;
/// How many refused rows the page lists; the command lists all.
const MOST_LISTED: usize = 200;

fn upload_page(signed: &Signed, error: Option<String>) -> UploadPage {
    let file = Field::new("file", "The spreadsheet, saved as CSV").error(error);
    let mut errors = ErrorSummary::none();
    errors.take(&file);
    let title = if errors.is_empty() { "Import" } else { "Error: Import" };
    UploadPage { shell: signed.shell(title, "/import"), errors, file }
}

/// `GET /import`
pub async fn form(state: web::Data<State>, signed: Signed) -> Answer {
    view(&state.db, &signed.actor, |_| Ok(((), Event::read("caseload.import")))).await?;
    page(StatusCode::OK, &upload_page(&signed, None))
}

/// `POST /import`: takes the file and shows what was read. Nothing is written but the file itself, for two hours.
pub async fn upload(state: web::Data<State>, signed: Signed, req: HttpRequest, payload: web::Payload) -> Answer {
    let too_large = "The file is larger than 16 MB. Cut it into several.";
    let content = receive(&req, payload, LARGEST_FILE, too_large).await?.file;
    if content.is_empty() {
        let error = "Choose the file first".to_owned();
        return page(StatusCode::UNPROCESSABLE_ENTITY, &upload_page(&signed, Some(error)));
    }
    let looked = web::block({
        let content = content.clone();
        move || survey(&content, None)
    });
    if let Err(problem) = looked.await.map_err(|_| AppError::Busy)? {
        return page(StatusCode::UNPROCESSABLE_ENTITY, &upload_page(&signed, Some(problem.to_string())));
    }
    let id = UploadId::new();
    let kept = content.clone();
    state
        .db
        .write(&signed.actor, move |tx| {
            keep(tx, id, &kept)?;
            append(tx, Event::create("caseload.upload").with("bytes", kept.len())).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    check(&state, &signed, id, content, None, StatusCode::OK).await
}

fn keep(tx: &mut Tx<'_>, id: UploadId, content: &[u8]) -> Result<(), StoreError> {
    let (service, staff, now) = (tx.service()?, tx.staff()?, tx.now());
    let old = Stamp::new(now.at() - Duration::hours(KEPT_HOURS));
    diesel::delete(uploads::table.filter(uploads::created_at.lt(old))).execute(tx.conn())?;
    diesel::insert_into(uploads::table)
        .values((
            uploads::id.eq(id),
            uploads::service_id.eq(service),
            uploads::staff_id.eq(staff),
            uploads::content.eq(content),
            uploads::created_at.eq(now),
        ))
        .execute(tx.conn())?;
    Ok(())
}

fn kept(
    conn: &mut Conn,
    signed_service: crate::db::ids::ServiceId,
    staff: StaffId,
    id: UploadId,
    now: Stamp,
) -> Result<Vec<u8>, StoreError> {
    let oldest = Stamp::new(now.at() - Duration::hours(KEPT_HOURS));
    Ok(uploads::table
        .find(id)
        .filter(uploads::service_id.eq(signed_service))
        .filter(uploads::staff_id.eq(staff))
        .filter(uploads::created_at.ge(oldest))
        .select(uploads::content)
        .first(conn)?)
}

/// What the check form sends: per column the field, and what to do.
pub type Pairs = Vec<(String, String)>;

/// `POST /import/{id}`: reads again with other columns, or brings it in.
pub async fn act(state: web::Data<State>, signed: Signed, path: PathOf<UploadId>, form: Posted<Pairs>) -> Answer {
    let id = path.into_inner();
    let (service, staff) = (signed.service.id, signed.staff_id);
    let now = Stamp::new(state.clock.now());
    // Brought in once; sent again, it says what came of it.
    let sending = once::derived(&["import", &id.to_string()]);
    if let Some(answered) = once::answered_already(&state.db, service, sending).await? {
        return brought_before(&state, &signed, answered).await;
    }
    let content =
        state.db.read(move |conn| kept(conn, service, staff, id, now)).await.map_err(|error| match error {
            StoreError::NotFound => {
                AppError::Conflict("This file was brought in already, or waited too long. Choose it again.".to_owned())
            }
            other => other.into(),
        })?;
    let looked = survey(&content, None).map_err(|e| AppError::Unreadable(e.to_string()))?;
    let pairs = form.0.iter().filter_map(|(name, value)| {
        let column: usize = name.strip_prefix("column-")?.parse().ok()?;
        Some((column, looked.headers.get(column)?.clone(), value.clone()))
    });
    let map = match ColumnMap::from_columns(pairs) {
        Ok(map) => map,
        Err(problem) => {
            let mut errors = ErrorSummary::none();
            errors.push("column-0", problem.to_string());
            let again = built(&signed, Some(format!("/import/{id}")), &looked, None, errors);
            return page(StatusCode::UNPROCESSABLE_ENTITY, &again);
        }
    };
    let bring = form.0.iter().any(|(name, value)| name == "act" && value == "bring-in");
    if !bring {
        return check(&state, &signed, id, content, Some(map), StatusCode::OK).await;
    }
    let today = state.clock.today();
    let reading = web::block({
        let (content, map) = (content.clone(), map.clone());
        move || read(&content, Some(&map), today)
    });
    let Ok(reading) = reading.await.map_err(|_| AppError::Busy)? else {
        return check(&state, &signed, id, content, Some(map), StatusCode::UNPROCESSABLE_ENTITY).await;
    };
    let refuse = state.refuse_test_numbers && !signed.service.demo;
    let done = state
        .db
        .write(&signed.actor, move |tx| {
            if let Some(answered) = once::answered(tx, sending)? {
                append(tx, Event::create("caseload.import").outcome(LogOutcome::Refused).with("why", "sent twice"))?;
                return Ok(Err(answered));
            }
            let outcome = bring_in::bring_in(tx, &reading, today, refuse, Box::new(|_, _| ()))?;
            diesel::delete(uploads::table.find(id)).execute(tx.conn())?;
            let words = format!("{} added, {} there already", counted(outcome.added, "patient"), outcome.there_already);
            once::sent(tx, sending, &words)?;
            Ok::<_, StoreError>(Ok((outcome, reading)))
        })
        .await?;
    let (outcome, reading) = match done {
        Ok(done) => done,
        Err(answered) => return brought_before(&state, &signed, answered).await,
    };
    let looked = survey(&content, Some(&map)).map_err(|e| AppError::Unreadable(e.to_string()))?;
    let done = built(&signed, None, &looked, Some((&reading, &outcome)), ErrorSummary::none());
    page(StatusCode::OK, &done)
}

async fn brought_before(state: &State, signed: &Signed, words: String) -> Answer {
    let event = Event::create("caseload.import").outcome(LogOutcome::Refused).with("why", "sent twice");
    state
        .db
        .write(&signed.actor, move |tx| {
            say(tx, &format!("This file is brought in: {words}. It was sent twice and is there once."))?;
            append(tx, event).map(drop)
        })
        .await
        .map_err(|e: StoreError| e)?;
    Ok(see_other("/import"))
}

async fn check(
    state: &State,
    signed: &Signed,
    id: UploadId,
    content: Vec<u8>,
    map: Option<ColumnMap>,
    status: StatusCode,
) -> Answer {
    let today = state.clock.today();
    let now = Stamp::new(state.clock.now());
    let (looked, reading) = web::block(move || (survey(&content, map.as_ref()), read(&content, map.as_ref(), today)))
        .await
        .map_err(|_| AppError::Busy)?;
    let looked = looked.map_err(|e| AppError::Unreadable(e.to_string()))?;
    let mut errors = ErrorSummary::none();
    let read_well = match reading {
        Ok(reading) => {
            let refuse = state.refuse_test_numbers && !signed.service.demo;
            let service = signed.service.id;
            let rehearsed = view(&state.db, &signed.actor, move |conn| {
                let outcome = bring_in::rehearse(conn, &reading, service, today, now, refuse)?;
                Ok(((reading, outcome), Event::read("caseload.check")))
            })
            .await?;
            Some(rehearsed)
        }
        Err(problem) => {
            errors.push("column-0", problem.to_string());
            None
        }
    };
    let found = read_well.as_ref().map(|(reading, outcome)| (reading, outcome));
    let shown = built(signed, Some(format!("/import/{id}")), &looked, found, errors);
    page(status, &shown)
}

fn rows<'a>(problems: impl Iterator<Item = (Option<u64>, &'a str, &'a str, &'a str)>) -> Vec<RowView> {
    problems
        .map(|(row, column, read, why)| RowView {
            row: row.map_or_else(|| "File".to_owned(), |r| r.to_string()),
            column: column.to_owned(),
            read: read.to_owned(),
            why: why.to_owned(),
        })
        .collect()
}

fn built(
    signed: &Signed,
    action: Option<String>,
    looked: &Survey,
    found: Option<(&Reading, &Outcome)>,
    errors: ErrorSummary,
) -> CheckPage {
    let choices: Vec<Choice> = std::iter::once(Choice::new(LEAVE_OUT, "leave out"))
        .chain(Wanted::ALL.iter().map(|f| Choice::new(f.code(), f.code().replace('_', " "))))
        .collect();
    let columns = looked
        .headers
        .iter()
        .enumerate()
        .map(|(i, header)| {
            let taken = looked.matches.iter().find(|m| m.column == i).map_or(LEAVE_OUT, |m| m.field.code());
            let sample: Vec<&str> = looked.sample.iter().filter_map(|row| row.get(i)).map(String::as_str).collect();
            ColumnView {
                header: header.clone(),
                sample: sample.join(" · "),
                field: Field::new(format!("column-{i}"), header.clone()),
                choices: Choice::choose(choices.clone(), taken),
            }
        })
        .collect();
    let done = action.is_none();
    let would = if done { "added" } else { "to be added" };
    let standfirst = match found {
        None => "The columns do not fit yet. Choose them below and read again.".to_owned(),
        Some((_, o)) => format!(
            "{} {would}, {} there already, {} {would} to those, {} refused.",
            counted(o.added, "patient"),
            o.there_already,
            counted(o.stomas_added, "stoma"),
            counted(o.rows_refused(), "row"),
        ),
    };
    let problems: Vec<RowView> = found.map_or_else(Vec::new, |(_, o)| {
        let listed = o.problems.iter().take(MOST_LISTED);
        rows(listed.map(|p| (Some(p.row), p.column.as_str(), p.read.as_str(), p.why.as_str())))
    });
    let adds = found.is_some_and(|(_, o)| o.added + o.stomas_added > 0);
    let heading = if done { "Brought in" } else { "Check before it is brought in" };
    let title = if errors.is_empty() { heading.to_owned() } else { format!("Error: {heading}") };
    CheckPage {
        shell: signed.shell(title, "/import"),
        errors,
        heading: heading.to_owned(),
        standfirst,
        how: format!(
            "Read as {}, cells parted by “{}”, {} rows.",
            looked.encoding.words(),
            looked.delimiter,
            looked.rows
        ),
        columns,
        more_problems: found.map_or(0, |(_, o)| o.problems.len()).saturating_sub(problems.len()),
        problems,
        notes: found.map_or_else(Vec::new, |(r, _)| {
            rows(r.notes.iter().take(MOST_LISTED).map(|n| (n.row, n.column.as_str(), "", n.text.as_str())))
        }),
        button: found.filter(|_| adds && !done).map(|(_, o)| format!("Bring in {}", counted(o.added, "patient"))),
        action,
    }
}
