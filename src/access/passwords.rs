//! Passwords: argon2id, and what is asked of a new one. Values are never logged.

use std::sync::{Condvar, Mutex, PoisonError};

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use unicode_normalization::UnicodeNormalization;

use crate::db::StoreError;

/// Memory in KiB, passes, lanes: OWASP Password Storage Cheat Sheet (2025), argon2id m=19456 t=2 p=1.
const COST: (u32, u32, u32) = (19_456, 2, 1);
/// Shortest password where it is the only factor: NIST SP 800-63B-4 (2025), 3.1.1.2.
pub const SHORTEST: usize = 15;
/// Longest that is taken; the same source asks for at least 64.
pub const LONGEST: usize = 256;

/// How many hashes are worked out at once: each takes 19 MiB, and a flood of sign-ins must not take the memory (local).
const AT_ONCE: usize = 4;

/// Hashes being worked out now, and who waits for a place.
static BUSY: (Mutex<usize>, Condvar) = (Mutex::new(0), Condvar::new());

/// A place among those worked out at once; given back when dropped.
struct Place;

impl Place {
    /// Waits for a place.
    fn take() -> Self {
        let busy = BUSY.0.lock().unwrap_or_else(PoisonError::into_inner);
        let mut busy = BUSY.1.wait_while(busy, |n| *n >= AT_ONCE).unwrap_or_else(PoisonError::into_inner);
        *busy += 1;
        Self
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        *BUSY.0.lock().unwrap_or_else(PoisonError::into_inner) -= 1;
        BUSY.1.notify_one();
    }
}

/// Long enough and yet guessed first. Whole-password comparison, as NIST SP 800-63B-4 asks; the list is ours and short,
/// for few well-known passwords are this long.
const TOO_COMMON: [&str; 10] = [
    "passwordpassword",
    "password12345678",
    "1234567890123456",
    "123456789012345",
    "qwertyuiopasdfgh",
    "qwertyuiop123456",
    "aaaaaaaaaaaaaaa",
    "correct horse battery staple",
    "correcthorsebatterystaple",
    "letmeinletmeinletmein",
];

fn argon2() -> Result<Argon2<'static>, StoreError> {
    let (memory, passes, lanes) = COST;
    let params = Params::new(memory, passes, lanes, None).map_err(|e| StoreError::Backend(e.to_string()))?;
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params))
}

/// Composed form, so that the same letters typed on two machines are the same password.
fn normal(password: &str) -> String {
    password.nfc().collect()
}

/// What is wrong with a new password, if anything, in words.
pub fn problem(password: &str, sign_in_name: &str) -> Option<String> {
    let length = password.chars().count();
    let lower = password.to_lowercase();
    let mut letters: Vec<char> = lower.chars().collect();
    letters.sort_unstable();
    letters.dedup();
    if length < SHORTEST {
        Some(format!("Use at least {SHORTEST} characters. Four or five unrelated words do well"))
    } else if length > LONGEST {
        Some(format!("Use at most {LONGEST} characters"))
    } else if TOO_COMMON.contains(&lower.as_str()) || letters.len() < 5 {
        Some("This password is easy to guess. Choose words that belong only to you".to_owned())
    } else if lower.contains(&sign_in_name.to_lowercase()) {
        Some("The password must not contain your sign-in name".to_owned())
    } else {
        None
    }
}

/// A new hash, a string that carries its scheme and cost.
pub fn hash(password: &str) -> Result<String, StoreError> {
    let _place = Place::take();
    let hash = argon2()?.hash_password(normal(password).as_bytes());
    hash.map(|h| h.to_string()).map_err(|e| StoreError::Backend(format!("password hash: {e}")))
}

/// True when the password gives this hash. With no hash the same work is done and the answer is no, so that time does
/// not tell whether an account exists.
pub fn verify(password: &str, stored: Option<&str>) -> Result<bool, StoreError> {
    let password = normal(password);
    let _place = Place::take();
    let Some(stored) = stored else {
        let _ = argon2()?.hash_password(password.as_bytes());
        return Ok(false);
    };
    Ok(argon2()?.verify_password(password.as_bytes(), stored).is_ok())
}
