//! `roundel staff add`: a staff member and a one-time link; the first one of a new service above all. Never a
//! default password.

use clap::{Args, Subcommand};

use super::{Ended, records, settings};
use crate::access::roles::{ALL, Role};
use crate::access::{secrets, store};
use crate::audit::{Event, append};
use crate::db::{Actor, Stamp, StoreError};
use crate::supplies;

/// Staff members.
#[derive(Debug, Subcommand)]
pub enum Staff {
    /// Add a staff member and print a one-time link with which they choose a password
    Add(Add),
}

/// What is known of the new staff member.
#[derive(Debug, Args)]
pub struct Add {
    /// Name as it should be printed
    name: String,
    /// What they type to sign in, for example an email address
    sign_in_name: String,
    /// Role: nurse, prescriber, assistant, clerk, lead, auditor, administrator; may be repeated
    #[arg(long = "role", required = true)]
    roles: Vec<String>,
    /// Name of the service; the first one is made
    #[arg(long)]
    service: Option<String>,
    /// Make the service named by --service although there is one already
    #[arg(long, requires = "service")]
    new_service: bool,
    /// Nation of a new service: england, wales, scotland, northern-ireland
    #[arg(long, default_value = "england")]
    nation: String,
}

impl Staff {
    /// Runs it.
    pub fn run(self) -> Result<(), Ended> {
        let Self::Add(add) = self;
        add.run()
    }
}

impl Add {
    fn run(self) -> Result<(), Ended> {
        let codes: Vec<&str> = ALL.iter().map(|r| r.code()).collect();
        let roles: Option<Vec<Role>> = self.roles.iter().map(|code| Role::from_code(code)).collect();
        let roles = roles.ok_or_else(|| Ended::Wrong(format!("--role must be one of {}", codes.join(", "))))?;
        if crate::follow_up::rules::Nation::from_code(&self.nation).is_none() {
            return Err(Ended::Wrong("--nation must be england, wales, scotland or northern-ireland".to_owned()));
        }
        if self.service.as_deref().is_some_and(|name| name.trim().is_empty()) {
            return Err(Ended::Wrong("--service must not be empty".to_owned()));
        }
        if self.name.trim().is_empty() || self.sign_in_name.trim().chars().count() < 3 {
            return Err(Ended::Wrong(
                "the name must not be empty and the sign-in name needs 3 letters at least".to_owned(),
            ));
        }
        let settings = settings()?;
        let db = records(&settings)?;
        let now = Stamp::new(db.clock().now());
        let held = db.read_now(store::services)?;
        let found = match (&self.service, held.as_slice()) {
            (Some(name), held) => {
                let found = held.iter().find(|s| s.name == *name).cloned();
                let names: Vec<String> = held.iter().map(|s| format!("“{}”", s.name)).collect();
                if found.is_some() && self.new_service {
                    return Err(Ended::Wrong(format!("there is a service “{name}” already: leave --new-service out")));
                }
                if found.is_none() && !held.is_empty() && !self.new_service {
                    let names = names.join(", ");
                    return Err(Ended::Wrong(format!(
                        "there is no service “{name}” here, only {names}: mend the name, or add --new-service to make it"
                    )));
                }
                found
            }
            (None, [only]) => Some(only.clone()),
            (None, []) => return Err(Ended::Wrong("there is no service yet: name it with --service \"…\"".to_owned())),
            (None, _) => {
                return Err(Ended::Wrong("there are several services: name one with --service \"…\"".to_owned()));
            }
        };
        let is_new = found.is_none();
        let service = found
            .unwrap_or_else(|| store::new_service(self.service.as_deref().unwrap_or(""), &self.nation, false, now));
        let row = store::new_staff(service.id, &self.sign_in_name, &self.name, now);
        let token = secrets::fresh()?;
        let hash = secrets::hash(&token);
        let actor = Actor::command("staff add", Some(service.id));
        let name = service.name.clone();
        db.write_now(&actor, move |tx| {
            if is_new {
                store::add_service(tx, &service)?;
                let items = supplies::catalogue::starter_items(service.id, now);
                supplies::store::add_items(tx, &items)?;
                append(tx, Event::create("service").with("service", service.id))?;
            }
            store::add_staff(tx, &row, &roles)?;
            store::add_link(tx, row.service_id, row.id, &hash)?;
            let codes: Vec<&str> = roles.iter().map(|r| r.code()).collect();
            append(tx, Event::create("staff.member").with("staff", row.id).with("roles", codes.join("+")))
        })
        .map_err(|error| match error {
            StoreError::Conflict(_) => Ended::Wrong(format!("the sign-in name {} is taken", self.sign_in_name)),
            other => other.into(),
        })?;
        if is_new {
            println!("The service “{name}” is made.");
        }
        println!("{} can choose a password, once, within {} hours, at", self.name, store::LINK_HOURS);
        println!("  http://{}/link/{token}", settings.listen);
        Ok(())
    }
}
