//! Settings of `roundel serve` and the other commands: `ROUNDEL_*` variables over a TOML file over defaults.
//!
//! Every mistake is reported, all of them together. Nothing else in the crate reads the environment.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::PathBuf;

use crate::db::Address;

/// Name of the variable that names a TOML file of settings.
pub const FILE_VARIABLE: &str = "ROUNDEL_CONFIG";

/// Idle minutes after which a session ends. 15 with an absolute limit of 12 h: NIST SP 800-63B-4 (2025) allows up
/// to 60 min and 24 h at this level; a shared clinic machine wants less.
pub const IDLE_MINUTES: i64 = 15;
/// Hours after which a session ends whatever happens: one shift.
pub const SESSION_HOURS: i64 = 12;

/// Everything that can be set.
#[derive(Clone, Debug)]
pub struct Settings {
    /// Where the records are (`ROUNDEL_DATABASE_URL`).
    pub database: Address,
    /// Address and port to listen on (`ROUNDEL_LISTEN`, default 127.0.0.1:8080).
    pub listen: SocketAddr,
    /// Run pending migrations on start (`ROUNDEL_MIGRATE`, default true).
    pub migrate: bool,
    /// File to which audit heads are appended (`ROUNDEL_AUDIT_HEADS`); put it on another machine's share.
    pub audit_heads: Option<PathBuf>,
    /// Idle minutes of a session, 1 to 60 (`ROUNDEL_IDLE_MINUTES`).
    pub idle_minutes: i64,
    /// Refuse NHS numbers of the test range 999 (`ROUNDEL_REFUSE_TEST_NUMBERS`, default true; the demo accepts them).
    pub refuse_test_numbers: bool,
}

const KNOWN: [&str; 6] = ["database_url", "listen", "migrate", "audit_heads", "idle_minutes", "refuse_test_numbers"];

impl Settings {
    /// Reads the process's environment and the file it names.
    pub fn from_environment() -> Result<Self, Vec<String>> {
        let file = match std::env::var(FILE_VARIABLE) {
            Err(_) => String::new(),
            Ok(path) => std::fs::read_to_string(&path)
                .map_err(|e| vec![format!("{FILE_VARIABLE}: {path} cannot be read: {e}")])?,
        };
        Self::read(&file, std::env::vars().filter(|(name, _)| name.starts_with("ROUNDEL_")))
    }

    /// Reads a TOML text and variables; variables win.
    pub fn read(file: &str, variables: impl Iterator<Item = (String, String)>) -> Result<Self, Vec<String>> {
        let mut errors = Vec::new();
        let mut given: BTreeMap<String, String> = BTreeMap::new();
        match file.parse::<toml::Table>() {
            Err(error) => errors.push(format!("the settings file: {error}")),
            Ok(table) => {
                for (name, value) in table {
                    if KNOWN.contains(&name.as_str()) {
                        let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
                        given.insert(name, text);
                    } else {
                        errors.push(format!("the settings file: {name} is not a setting"));
                    }
                }
            }
        }
        for (name, value) in variables {
            let key = name.trim_start_matches("ROUNDEL_").to_lowercase();
            if KNOWN.contains(&key.as_str()) {
                given.insert(key, value);
            } else if name != FILE_VARIABLE && name != "ROUNDEL_LOG" && !name.starts_with("ROUNDEL_TEST_") {
                errors.push(format!("{name} is not a setting"));
            }
        }
        let mut take = Taken { given: &given, errors };
        let database = take.one("database_url", None, Address::parse);
        let listen = take.one("listen", Some("127.0.0.1:8080"), |text| {
            text.parse::<SocketAddr>().map_err(|_| "must be an address and port, as 127.0.0.1:8080".to_owned())
        });
        let migrate = take.one("migrate", Some("true"), read_flag);
        let refuse = take.one("refuse_test_numbers", Some("true"), read_flag);
        let idle = take.one("idle_minutes", Some("15"), |text| {
            let minutes = text.parse().ok().filter(|m| (1..=60).contains(m));
            minutes.ok_or_else(|| "must be a whole number of minutes from 1 to 60".to_owned())
        });
        let audit_heads = given.get("audit_heads").map(PathBuf::from);
        match (database, listen, migrate, refuse, idle, take.errors) {
            (Some(database), Some(listen), Some(migrate), Some(refuse_test_numbers), Some(idle_minutes), errors)
                if errors.is_empty() =>
            {
                Ok(Self { database, listen, migrate, audit_heads, idle_minutes, refuse_test_numbers })
            }
            (.., errors) => Err(errors),
        }
    }
}

fn read_flag(text: &str) -> Result<bool, String> {
    match text {
        "true" | "yes" | "1" => Ok(true),
        "false" | "no" | "0" => Ok(false),
        _ => Err("must be true or false".to_owned()),
    }
}

struct Taken<'a> {
    given: &'a BTreeMap<String, String>,
    errors: Vec<String>,
}

impl Taken<'_> {
    fn one<T>(&mut self, key: &str, default: Option<&str>, read: impl FnOnce(&str) -> Result<T, String>) -> Option<T> {
        let variable = format!("ROUNDEL_{}", key.to_uppercase());
        let Some(text) = self.given.get(key).map(String::as_str).or(default) else {
            self.errors.push(format!("{variable} is not set: write sqlite:PATH or postgres://…"));
            return None;
        };
        read(text).map_err(|message| self.errors.push(format!("{variable}: {message}"))).ok()
    }
}
