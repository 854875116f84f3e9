//! Random references (sessions, one-time links, form tokens). Only hashes of them are stored.

use sha2::{Digest, Sha256};

use crate::db::StoreError;

/// A fresh secret of 256 bits, as 64 hexadecimal characters.
pub fn fresh() -> Result<String, StoreError> {
    let mut bytes = [0u8; 32];
    getrandom::fill(&mut bytes).map_err(|e| StoreError::Backend(format!("no randomness: {e}")))?;
    Ok(hex::encode(bytes))
}

/// What is stored of a secret.
pub fn hash(secret: &str) -> Vec<u8> {
    Sha256::digest(secret.as_bytes()).to_vec()
}
