//! One member of staff: what they may do, and changing their roles. A service is never left without somebody who can
//! manage staff.

use actix_web::http::StatusCode;
use actix_web::web;
use serde::Deserialize;

use super::pages::MemberPage;
use super::roles::{self, Role};
use super::store::{self, StaffRow};
use crate::audit::{Event, Outcome, append, view};
use crate::db::ids::StaffId;
use crate::db::{StoreError, Tx};
use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::{Answer, AppError, PathOf, Posted, Signed, State, page, see_other};

/// Why an act that would leave the service without is refused.
pub const LAST_MANAGER: &str =
    "Nobody else who has access and has chosen a password can manage staff. Make somebody else an administrator first";

/// What the form sends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct RolesForm {
    version: i32,
    roles: Vec<String>,
}

/// True when somebody else of the service can sign in and manage staff. Asked inside the transaction that would change
/// it, so that two administrators cannot remove one another at the same moment.
pub fn another_manages(tx: &mut Tx<'_>, besides: StaffId) -> Result<bool, StoreError> {
    let service = tx.service()?;
    let mut others = Vec::new();
    for row in store::everybody(tx.conn(), service)? {
        if row.id != besides && row.disabled_at.is_none() && row.password_hash.is_some() {
            others.push(store::roles_of(tx.conn(), row.id)?);
        }
    }
    Ok(roles::can_manage_staff(others.iter().map(Vec::as_slice)))
}

struct Member {
    row: StaffRow,
    roles: Vec<Role>,
}

async fn load(state: &State, signed: &Signed, id: StaffId) -> Result<Member, AppError> {
    let service = signed.service.id;
    Ok(view(&state.db, &signed.actor, move |conn| {
        let row = store::staff_member(conn, service, id)?;
        let roles = store::roles_of(conn, id)?;
        Ok((Member { row, roles }, Event::read("staff.member").with("staff", id)))
    })
    .await?)
}

fn build(signed: &Signed, member: &Member, version: i32, chosen: &[String], error: Option<String>) -> MemberPage {
    let roles = Field::new("roles", "Roles").error(error);
    let mut errors = ErrorSummary::none();
    errors.take(&roles);
    let choices = roles::ALL
        .into_iter()
        .map(|r| Choice::new(r.code(), r.word()).hint(r.about()).checked(chosen.iter().any(|code| code == r.code())))
        .collect();
    let row = &member.row;
    let access = if row.disabled_at.is_some() { "No access" } else { "Has access" };
    MemberPage {
        shell: signed.shell(if errors.is_empty() { "Roles" } else { "Error: Roles" }, "/staff"),
        errors,
        id: row.id.to_string(),
        name: row.display_name.clone(),
        facts: vec![
            ("Sign-in name", row.sign_in_name.clone()),
            ("Registration", row.registration.clone().unwrap_or_else(|| "Not recorded".to_owned())),
            ("Access", access.to_owned()),
            ("Roles now", member.roles.iter().map(|r| r.word()).collect::<Vec<_>>().join(", ")),
        ],
        version: version.to_string(),
        roles,
        choices,
        own: row.id == signed.staff_id,
    }
}

fn codes(roles: &[Role]) -> Vec<String> {
    roles.iter().map(|r| r.code().to_owned()).collect()
}

/// `GET /staff/{id}`
pub async fn form(state: web::Data<State>, signed: Signed, path: PathOf<StaffId>) -> Answer {
    let member = load(&state, &signed, path.into_inner()).await?;
    page(StatusCode::OK, &build(&signed, &member, member.row.version, &codes(&member.roles), None))
}

/// `POST /staff/{id}/roles`
pub async fn save(state: web::Data<State>, signed: Signed, path: PathOf<StaffId>, form: Posted<RolesForm>) -> Answer {
    let id = path.into_inner();
    let form = form.0;
    let member = load(&state, &signed, id).await?;
    let refused = |text: &str| {
        page(
            StatusCode::UNPROCESSABLE_ENTITY,
            &build(&signed, &member, form.version, &form.roles, Some(text.to_owned())),
        )
    };
    let read: Option<Vec<Role>> = form.roles.iter().map(|code| Role::from_code(code)).collect();
    let Some(mut wanted) = read else { return refused("Choose roles of the list only") };
    wanted.sort_unstable();
    wanted.dedup();
    if wanted.is_empty() {
        return refused("Choose at least one role. To take access away, use “End access” on the staff page");
    }
    let service = signed.service.id;
    let (before, shown) = (member.roles.clone(), form.version);
    let name = member.row.display_name.clone();
    let done = state
        .db
        .write(&signed.actor, move |tx| {
            let event = |roles: &[Role]| {
                Event::update("staff.roles")
                    .with("staff", id)
                    .with("before", codes(&before).join("+"))
                    .with("after", codes(roles).join("+"))
            };
            if !roles::can_manage_staff([wanted.as_slice()]) && !another_manages(tx, id)? {
                append(tx, event(&before).outcome(Outcome::Refused).with("why", "last to manage staff"))?;
                return Ok(false);
            }
            store::change_roles(tx, service, id, shown, &wanted)?;
            let words: Vec<&str> = wanted.iter().map(|r| r.word()).collect();
            store::say(tx, &format!("Roles of {name} from now on: {}.", words.join(", ")))?;
            append(tx, event(&wanted))?;
            Ok::<_, StoreError>(true)
        })
        .await?;
    if done { Ok(see_other("/staff")) } else { refused(LAST_MANAGER) }
}
