//! Invented names, places and numbers. NHS numbers come from the range 999 000 0000 to 999 999 9999, which is never
//! issued; telephone numbers from the range kept for drama, 01632 960000 to 960999.

use chrono::{Days, Months, NaiveDate};

use super::chance::Chance;
use crate::db::Stamp;
use crate::db::ids::ServiceId;
use crate::patients::identifiers::{Identifier, Scheme, check_digit};
use crate::patients::store::{Patient, new_patient};

const FAMILY: [&str; 60] = [
    "Ashgrove",
    "Bellwether",
    "Birchall-Dean",
    "Brackenbury",
    "Calloway",
    "Chesterfold",
    "Cranleigh",
    "Danvers",
    "Derwent",
    "Eastlake",
    "Elderwood",
    "Fairbourne",
    "Fenwright",
    "Garsdale",
    "Gillmoor",
    "Greenhalge",
    "Hathersedge",
    "Heatherby",
    "Holloway-Finch",
    "Ingleton",
    "Ironside",
    "Jessamy",
    "Kelmscott",
    "Kirkdale",
    "Lanyon",
    "Larkfield",
    "Linthwaite",
    "Loxley",
    "Marchbank",
    "Merriden",
    "Millbrook",
    "Netherton",
    "Nightingale-Moss",
    "O’Dell",
    "Oakhurst",
    "Orchardson",
    "Pemberley",
    "Penhallow",
    "Quarrington",
    "Quiller",
    "Ravensworth",
    "Redfearn",
    "Rosewarne",
    "Saltmarsh",
    "Silverdale",
    "Sandhurst",
    "Tamblyn",
    "Thistlewood",
    "Thornbury",
    "Underhay",
    "Uppington",
    "Vennacott",
    "Verity",
    "Wainscott",
    "Westerdale",
    "Whinfell",
    "Winterbourne",
    "Wolstenby",
    "Yarrowdale",
    "Żukowicz",
];

const WOMEN: [&str; 24] = [
    "Agnes", "Amara", "Beatrice", "Bronwen", "Cecily", "Doreen", "Edith", "Fatima", "Gwen", "Hilary", "Imogen", "Joan",
    "Kathleen", "Leila", "Marion", "Mei", "Nora", "Olwen", "Priya", "Rosalind", "Sylvia", "Teresa", "Una", "Zoë",
];

const MEN: [&str; 24] = [
    "Albert", "Arjun", "Bernard", "Cedric", "Desmond", "Edwin", "Farid", "Gareth", "Harold", "Ivor", "Jerome", "Kwame",
    "Leonard", "Malcolm", "Neville", "Owen", "Percy", "Rafael", "Samuel", "Tobias", "Umar", "Victor", "Wilfred",
    "Yusuf",
];

const TOWNS: [&str; 6] = ["Marlowbridge", "Upper Tansley", "Port Ennor", "Hollinfold", "Great Wickering", "Saltholme"];
const STREETS: [&str; 8] =
    ["Mill Lane", "Chapel Street", "Orchard Rise", "Weir Close", "Priory Road", "Tanyard", "The Green", "Beacon Hill"];
const PRACTICES: [&str; 4] =
    ["Weirside Surgery", "The Old Bakery Practice", "Tansley Health Centre", "Ennor Quay Surgery"];

/// Usable numbers of the test range, one after the other.
pub fn test_numbers(count: usize) -> Vec<Identifier> {
    (999_000_001_u32..=999_999_999)
        .filter_map(|stem| {
            let nine = stem.to_string();
            let digit = check_digit(&nine)?;
            Identifier::parse(Scheme::NhsNumber, &format!("{nine}{digit}")).ok()
        })
        .take(count)
        .collect()
}

/// Somebody who does not exist.
pub fn person(service: ServiceId, index: usize, today: NaiveDate, now: Stamp, chance: &mut Chance) -> Patient {
    let woman = chance.between(0, 1) == 0;
    let family = FAMILY.get((index * 7 + 3) % FAMILY.len()).copied().unwrap_or("Ashgrove");
    let given = chance.one(if woman { &WOMEN } else { &MEN }).unwrap_or("Joan");
    let mut patient = new_patient(service, family, given, now);
    patient.title = chance.one(if woman { &["Mrs", "Ms", "Miss"] } else { &["Mr", "Mr", "Dr"] }).map(str::to_owned);
    patient.gender = if woman { "female" } else { "male" }.to_owned();
    let age = chance.between(34, 88);
    let months = Months::new(12 * u32::try_from(age).unwrap_or(60));
    let born = today.checked_sub_months(months).unwrap_or(today);
    patient.born_on = born.checked_sub_days(Days::new(u64::try_from(chance.between(1, 360)).unwrap_or(1)));
    patient.phone = Some(format!("01632 960{:03}", chance.between(0, 999)));
    let (street, town) = (chance.one(&STREETS).unwrap_or("The Green"), chance.one(&TOWNS).unwrap_or("Saltholme"));
    patient.address = Some(format!("{} {street}, {town}", chance.between(1, 140)));
    patient.postcode = Some(format!(
        "ZZ99 {}{}{}",
        chance.between(1, 9),
        "ABDEFG".chars().nth(index % 6).unwrap_or('A'),
        "HJLNPQ".chars().nth(index / 6 % 6).unwrap_or('H')
    ));
    patient.gp_practice = chance.one(&PRACTICES).map(str::to_owned);
    patient.dispenser =
        Some(if chance.between(0, 1) == 0 { "Home delivery contractor" } else { "Pharmacy, collected" }.to_owned());
    (patient.sensitivity, patient.sensitivity_note) = match index % 5 {
        0 => ("known".to_owned(), Some("Latex".to_owned())),
        1 | 2 => ("none-known".to_owned(), None),
        _ => ("not-recorded".to_owned(), None),
    };
    patient
}
