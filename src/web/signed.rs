//! Who is signed in, as the gate found it; handlers take it as an argument.

use std::collections::BTreeSet;
use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpMessage, HttpRequest};

use super::assets;
use super::error::AppError;
use super::permission::Permission;
use super::shell::{Message, MessageKind, NavItem, Shell, SignedIn};
use crate::db::ids::{ServiceId, StaffId};
use crate::db::{Actor, Stamp};

/// What pages need to know of the service.
#[derive(Clone, Debug)]
pub struct ServiceFacts {
    /// Id.
    pub id: ServiceId,
    /// Name.
    pub name: String,
    /// Nation code.
    pub nation: String,
    /// A demonstration with invented people.
    pub demo: bool,
    /// Band set chosen.
    pub band_set: String,
    /// Quantity set chosen.
    pub quantity_set: String,
    /// Phone number to print.
    pub phone: Option<String>,
    /// Clinic hours `HH:MM` and length of a slot in minutes.
    pub clinic: (String, String, i32),
}

/// Somebody signed in.
#[derive(Clone, Debug)]
pub struct Signed {
    /// As the log will name them.
    pub actor: Actor,
    /// The staff member.
    pub staff_id: StaffId,
    /// The service they work for.
    pub service: ServiceFacts,
    /// Roles in words.
    pub roles: String,
    /// What they may do.
    pub may: BTreeSet<Permission>,
    /// What every form must send back.
    pub form_token: String,
    /// Outcome of the last act, if not shown yet.
    pub message: Option<String>,
    /// Where that act is undone.
    pub undo: Option<String>,
    /// "25-Nov-2026 10:42", where the service is.
    pub time: String,
    /// "10:57".
    pub locks_at: String,
    /// Seconds of idleness after which it locks.
    pub lock_seconds: i64,
    /// When the screen locks if nothing is done.
    pub idle_until: Stamp,
    /// When the session ends whatever is done.
    pub ends_at: Stamp,
    /// Address of the help that fits the page asked for.
    pub help_href: String,
}

impl Signed {
    /// True when they may.
    pub fn may(&self, permission: Permission) -> bool {
        self.may.contains(&permission)
    }

    /// The frame for a page of theirs; `current` is the address of the navigation word it belongs to.
    pub fn shell(&self, title: impl Into<String>, current: &str) -> Shell {
        let words = [
            (Permission::WorkTheWeek, "/week", "Week"),
            (Permission::FindPatients, "/patients", "Patients"),
            (Permission::AssessSkin, "/calibration", "Calibration"),
            (Permission::SeeReference, "/protocols", "Protocols"),
            (Permission::SeeReference, "/catalogue", "Supplies catalogue"),
            (Permission::SeeReference, "/quantities", "Quantities"),
            (Permission::ImportCaseload, "/import", "Import"),
            (Permission::SetUpService, "/service", "Service"),
            (Permission::ManageStaff, "/staff", "Staff"),
            (Permission::ReadAudit, "/audit", "Audit"),
        ];
        let mut nav: Vec<NavItem> = words
            .into_iter()
            .filter(|(permission, ..)| self.may(*permission))
            .map(|(_, href, label)| NavItem::new(href, label, href == current))
            .collect();
        nav.push(NavItem::new("/account", "Account", current == "/account"));
        Shell {
            title: title.into(),
            service: self.service.name.clone(),
            signed_in: Some(SignedIn { name: self.actor.name.clone(), roles: self.roles.clone() }),
            nav,
            search: self.may(Permission::FindPatients),
            message: self.message.clone().map(|text| Message {
                kind: MessageKind::Done,
                text,
                undo: self.undo.clone(),
            }),
            demo: self.service.demo,
            csrf: self.form_token.clone(),
            time: self.time.clone(),
            locks_at: Some(self.locks_at.clone()),
            lock_seconds: self.lock_seconds,
            help_href: self.help_href.clone(),
            help: self.service.phone.clone().map_or_else(
                || "or ask your lead nurse".to_owned(),
                |phone| format!("or ask your lead nurse, {phone}"),
            ),
            ..assets::shell()
        }
    }
}

impl FromRequest for Signed {
    type Error = AppError;
    type Future = Ready<Result<Self, AppError>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(req.extensions().get::<Self>().cloned().ok_or(AppError::SignInNeeded))
    }
}
