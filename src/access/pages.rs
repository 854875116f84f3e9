//! Page structs of sign-in, one-time link, account and staff.

use askama::Template;

use crate::web::form_view::{Choice, ErrorSummary, Field};
use crate::web::shell::Shell;

/// `GET /sign-in`
#[derive(Template)]
#[template(path = "access/sign_in.html")]
pub struct SignInPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Sign-in name.
    pub user: Field,
    /// Password; never filled.
    pub password: Field,
    /// Where to go afterwards.
    pub next: String,
    /// Said above the form, as "Your session has ended".
    pub notice: Option<String>,
    /// At a locked screen: who was signed in. The form then asks for the password only.
    pub locked: Option<String>,
    /// What was typed is kept.
    pub kept: bool,
    /// Sign-in name, password and role of each demonstration account; empty outside the demonstration.
    pub demo_sign_ins: Vec<(String, String, String)>,
}

/// `GET /link/{token}` and `GET /account`: choose a password.
#[derive(Template)]
#[template(path = "access/password.html")]
pub struct PasswordPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Heading.
    pub heading: String,
    /// One sentence under it.
    pub intro: String,
    /// Where the form goes.
    pub action: String,
    /// The present password, where it is asked for.
    pub current: Option<Field>,
    /// The new one.
    pub password: Field,
    /// The new one again.
    pub again: Field,
    /// What this person is and may do: label and value.
    pub facts: Vec<(String, String)>,
}

/// A staff member in the list.
pub struct StaffLine {
    /// Id, for the forms.
    pub id: String,
    /// Display name.
    pub name: String,
    /// Sign-in name.
    pub sign_in_name: String,
    /// Roles in words.
    pub roles: String,
    /// State in words.
    pub state: String,
    /// Has access.
    pub open: bool,
}

/// `GET /staff`
#[derive(Template)]
#[template(path = "access/staff.html")]
pub struct StaffPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong with the form below.
    pub errors: ErrorSummary,
    /// Everybody.
    pub people: Vec<StaffLine>,
    /// A link just made: for whom, and its address.
    pub link: Option<(String, String)>,
    /// The form: name.
    pub name: Field,
    /// The form: sign-in name.
    pub sign_in_name: Field,
    /// The form: registration number.
    pub registration: Field,
    /// The form: roles.
    pub roles: Field,
    /// Choices of the roles.
    pub role_choices: Vec<Choice>,
    /// The form's own id.
    pub once: String,
}

/// `GET /staff/{id}`
#[derive(Template)]
#[template(path = "access/member.html")]
pub struct MemberPage {
    /// Frame.
    pub shell: Shell,
    /// What is wrong.
    pub errors: ErrorSummary,
    /// Id, for the form.
    pub id: String,
    /// Whose roles.
    pub name: String,
    /// Label and value.
    pub facts: Vec<(&'static str, String)>,
    /// Row version.
    pub version: String,
    /// The roles.
    pub roles: Field,
    /// Their choices.
    pub choices: Vec<Choice>,
    /// The reader's own.
    pub own: bool,
}
