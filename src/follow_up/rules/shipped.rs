//! The protocols shipped in the program, one TOML file each in `../protocols/`.
//!
//! They are starting points: a service copies one, changes it and owns the copy. A file that cannot be read is a fault
//! to report, not a panic; a test proves that there is none.

use std::sync::LazyLock;

use super::protocol::Protocol;
use super::protocol_toml::TomlFaults;

macro_rules! files {
    ($($name:literal),+ $(,)?) => {
        &[$((concat!($name, ".toml"), include_str!(concat!("../protocols/", $name, ".toml")))),+]
    };
}

/// Name and text of every file; published ones first, then the local examples.
const FILES: &[(&str, &str)] = files!(
    "dartford-gravesham",
    "leeds-community",
    "cambridge-urostomy",
    "east-kent",
    "rnao-2019",
    "ileostomy-phone-48h",
    "bristol-yearly",
    "local-ileostomy",
    "local-colostomy",
    "local-urostomy",
    "local-loop-awaiting-reversal",
);

static LOADED: LazyLock<(Vec<Protocol>, Vec<TomlFaults>)> = LazyLock::new(|| load(FILES));

/// The shipped protocols that could be read: all of them, as a test proves.
pub fn shipped() -> &'static [Protocol] {
    &LOADED.0
}

/// What is wrong with shipped files; empty, as a test proves.
pub fn shipped_faults() -> &'static [TomlFaults] {
    &LOADED.1
}

/// A shipped protocol by its id.
pub fn shipped_by_id(id: &str) -> Option<&'static Protocol> {
    shipped().iter().find(|protocol| protocol.id == id)
}

/// Reads files given as `(name, text)`: the protocols that are right, the faults of those that are not.
pub fn load(files: &[(&str, &str)]) -> (Vec<Protocol>, Vec<TomlFaults>) {
    let mut protocols = Vec::new();
    let mut faults = Vec::new();
    for (name, text) in files {
        match Protocol::from_toml(name, text) {
            Ok(protocol) => protocols.push(protocol),
            Err(fault) => faults.push(fault),
        }
    }
    (protocols, faults)
}
