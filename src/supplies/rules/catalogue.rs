//! The generic starter catalogue: kinds of appliance in common shapes and pack sizes, from `catalogue.toml`.
//!
//! No maker and no product is named; a service copies it and puts its own items in. Pack sizes carry a source, since
//! they differ between suppliers.

use std::collections::BTreeSet;
use std::num::NonZeroU32;
use std::sync::LazyLock;

use serde::Deserialize;

use super::DataError;
use super::items::ItemCategory;
use super::order::{Convexity, Coupling};
use crate::provenance::{Source, Standing};

/// One item of the starter catalogue.
#[derive(Clone, Debug, PartialEq)]
pub struct CatalogueItem {
    /// Unique code within the catalogue.
    pub code: String,
    /// What kind it is.
    pub category: ItemCategory,
    /// Generic name first, no abbreviation.
    pub name: String,
    /// Size in words; empty when there is none.
    pub size: String,
    /// Units in a pack.
    pub pack: NonZeroU32,
    /// What one unit is, as "pouch".
    pub unit: String,
    /// Grams in one unit.
    pub content_g: Option<u32>,
    /// Millilitres in one unit.
    pub content_ml: Option<u32>,
    /// Diameter of the coupling in mm.
    pub coupling_mm: Option<f64>,
    /// Kind of coupling.
    pub coupling: Option<Coupling>,
    /// Shape of the plate.
    pub convexity: Option<Convexity>,
    /// Opening cut by the maker.
    pub precut: Option<bool>,
    /// Holds natural rubber latex; `None` to be asked of the maker.
    pub latex: Option<bool>,
    /// Holds parts of animal origin; `None` to be asked of the maker.
    pub animal_derived: Option<bool>,
    /// Where the pack size comes from.
    pub source: Source,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    sources: std::collections::BTreeMap<String, SourceText>,
    items: Vec<ItemText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SourceText {
    source: String,
    standing: Standing,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ItemText {
    code: String,
    category: String,
    name: String,
    #[serde(default)]
    size: String,
    pack: u32,
    unit: String,
    content_g: Option<u32>,
    content_ml: Option<u32>,
    coupling_mm: Option<f64>,
    coupling: Option<String>,
    convexity: Option<String>,
    precut: Option<bool>,
    latex: Option<bool>,
    animal_derived: Option<bool>,
    from: String,
}

/// The shipped catalogue. Empty only if the file cannot be read, which a test rules out.
pub fn catalogue() -> &'static [CatalogueItem] {
    static ITEMS: LazyLock<Vec<CatalogueItem>> = LazyLock::new(|| load_catalogue().unwrap_or_default());
    &ITEMS
}

/// Reads the shipped catalogue.
pub fn load_catalogue() -> Result<Vec<CatalogueItem>, DataError> {
    let fail = |message: String| DataError::new("catalogue.toml", message);
    let file: File = toml::from_str(include_str!("catalogue.toml")).map_err(|error| fail(error.to_string()))?;
    let mut codes = BTreeSet::new();
    let mut items = Vec::with_capacity(file.items.len());
    for item in file.items {
        let wrong = |what: &str| fail(format!("{}: {what}", item.code));
        if !codes.insert(item.code.clone()) {
            return Err(wrong("stands there twice"));
        }
        let from = file.sources.get(&item.from).ok_or_else(|| wrong("unknown source"))?;
        let coupling = item.coupling.as_deref().map(|code| Coupling::from_code(code).ok_or_else(|| wrong("coupling")));
        let convexity =
            item.convexity.as_deref().map(|code| Convexity::from_code(code).ok_or_else(|| wrong("convexity")));
        items.push(CatalogueItem {
            category: ItemCategory::from_code(&item.category).ok_or_else(|| wrong("unknown category"))?,
            pack: NonZeroU32::new(item.pack).ok_or_else(|| wrong("a pack holds at least one"))?,
            coupling: coupling.transpose()?,
            convexity: convexity.transpose()?,
            source: Source { source: from.source.clone().into(), standing: from.standing },
            code: item.code,
            name: item.name,
            size: item.size,
            unit: item.unit,
            content_g: item.content_g,
            content_ml: item.content_ml,
            coupling_mm: item.coupling_mm,
            precut: item.precut,
            latex: item.latex,
            animal_derived: item.animal_derived,
        });
    }
    Ok(items)
}
