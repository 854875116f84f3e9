//! How dates, ages, telephone numbers and postcodes are written on a screen and on paper.
//!
//! Pure: values in, text out; "today" and "now" are arguments. It must not know patients, languages or pages. The forms
//! are those of the English common user interface standards ISB 1500, 1503, 1505 and 1508 (NHS, baseline 4.0.0.0: read).

use chrono::{Datelike, Months, NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};

/// "05-Nov-2026": the clinical form (ISB 1503: read).
pub fn short_date(date: NaiveDate) -> String {
    date.format("%d-%b-%Y").to_string()
}

/// "Thu 05-Nov-2026": with the weekday in front; not for dates of birth or death (ISB 1503: read).
pub fn weekday_date(date: NaiveDate) -> String {
    date.format("%a %d-%b-%Y").to_string()
}

/// "5 November 2026": for what the patient reads (NHS digital service manual, "numbers, measurements, dates": read).
pub fn long_date(date: NaiveDate) -> String {
    date.format("%-d %B %Y").to_string()
}

/// Age in whole years on a day. Who is born on 29 February is a year older on 1 March of other years, as English law
/// has it (from memory).
///
/// `None` before birth.
pub fn years_of_age(born: NaiveDate, today: NaiveDate) -> Option<u32> {
    months_of_age(born, today).map(|months| months / 12)
}

/// Age as the patient banner shows it, from dates alone: "27d", "4w 1d", "12m 8d", "17y 11m", "74y" (ISB 1505: read).
/// On the day of birth and the day after, hours would be shown; from dates alone it is "0d" and "1d".
///
/// `None` before birth.
pub fn age(born: NaiveDate, today: NaiveDate) -> Option<String> {
    let days = (today - born).num_days();
    match days {
        ..0 => None,
        0..2 => Some(format!("{days}d")),
        _ => age_at(born.and_time(NaiveTime::MIN), today.and_time(NaiveTime::MIN)),
    }
}

/// Age at a moment, with the time of birth known. Below 2 hours in minutes, below 2 days in hours, below 4 weeks in days,
/// below a year in weeks and days, below 2 years in months and days, below 18 years in years and months, then in
/// years; units of zero are left out (ISB 1505: read).
///
/// `None` before birth.
pub fn age_at(born: NaiveDateTime, now: NaiveDateTime) -> Option<String> {
    let lived = now - born;
    if lived < TimeDelta::zero() {
        return None;
    }
    if lived < TimeDelta::hours(2) {
        return Some(format!("{}min", lived.num_minutes()));
    }
    if lived < TimeDelta::days(2) {
        return Some(format!("{}hrs", lived.num_hours()));
    }
    if lived < TimeDelta::weeks(4) {
        return Some(format!("{}d", lived.num_days()));
    }
    // Counted in calendar days from here on: the hour of birth no longer matters.
    let (born, today) = (born.date(), now.date());
    let months = months_of_age(born, today)?;
    Some(match months {
        0..12 => {
            let days = (today - born).num_days();
            two_units((days / 7, "w"), (days % 7, "d"))
        }
        12..24 => {
            let days = (today - birthday(born, months)?).num_days();
            two_units((i64::from(months), "m"), (days, "d"))
        }
        24..216 => two_units((i64::from(months / 12), "y"), (i64::from(months % 12), "m")),
        _ => format!("{}y", months / 12),
    })
}

/// How long ago a date is, in one unit: "today", "5 days", "6 weeks", "7 months", "2 years"; "in 3 weeks" for a date to
/// come. Days to a fortnight, weeks to half a year, months to two years (local: follows how nurses count after surgery).
pub fn weeks_since(date: NaiveDate, today: NaiveDate) -> String {
    let (from, to, before) = if date <= today { (date, today, "") } else { (today, date, "in ") };
    let days = (to - from).num_days();
    let months = months_of_age(from, to).unwrap_or(0);
    let (number, unit) = match days {
        0 => return "today".to_owned(),
        1..14 => (days, "day"),
        14..182 => (days / 7, "week"),
        _ if months < 24 => (i64::from(months), "month"),
        _ => (i64::from(months / 12), "year"),
    };
    let plural = if number == 1 { "" } else { "s" };
    format!("{before}{number} {unit}{plural}")
}

/// "1 patient", "2 patients".
pub fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

/// A postcode in capitals with one blank before the last three characters (ISB 1500: read); what is clearly no UK
/// postcode is shown as received.
pub fn postcode(received: &str) -> String {
    let plain: String = received.chars().filter(|c| !c.is_whitespace()).collect::<String>().to_uppercase();
    let (outward, inward) = plain.split_at_checked(plain.len().saturating_sub(3)).unwrap_or((&plain, ""));
    let letters_last = inward.starts_with(|c: char| c.is_ascii_digit())
        && inward.len() == 3
        && inward.chars().skip(1).all(|c| c.is_ascii_uppercase());
    let outward_fits = (2..=4).contains(&outward.len())
        && outward.starts_with(|c: char| c.is_ascii_uppercase())
        && outward.chars().any(|c| c.is_ascii_digit())
        && outward.chars().all(|c| c.is_ascii_alphanumeric());
    if letters_last && outward_fits { format!("{outward} {inward}") } else { received.trim().to_owned() }
}

/// A telephone number as a UK screen shows it (ISB 1508: read): no +44, no brackets, a blank after the area code and
/// before the last four digits of local numbers longer than six, an extension as "x1234". What is not clearly a UK
/// number is shown as received.
pub fn phone(received: &str) -> String {
    uk_phone(received).unwrap_or_else(|| received.split_whitespace().collect::<Vec<_>>().join(" "))
}

fn uk_phone(received: &str) -> Option<String> {
    let lower = received.to_lowercase();
    let (number, extension) = match lower.find(['e', 'x']) {
        Some(at) => (&lower[..at], Some(extension_digits(&lower[at..])?)),
        None => (lower.as_str(), None),
    };
    // The bracketed 0 of "+44 (0)20 …" says itself that it is left out; a bare "+440…" is no number.
    let number = number.trim().replace("(0)", "");
    let international = number.starts_with('+') || number.starts_with("00");
    if number.chars().any(|c| !c.is_ascii_digit() && !"+-()".contains(c) && !c.is_whitespace())
        || number.rfind('+').is_some_and(|at| at > 0)
    {
        return None;
    }
    let digits: String = number.chars().filter(char::is_ascii_digit).collect();
    let digits = if international {
        let rest = digits.strip_prefix("00").unwrap_or(&digits).strip_prefix("44")?;
        if rest.starts_with('0') {
            return None;
        }
        format!("0{rest}")
    } else {
        digits
    };
    let (area, local) = digits.split_at_checked(area_length(&digits)?)?;
    let local = match local.len() {
        5 | 6 => local.to_owned(),
        _ => {
            let (head, tail) = local.split_at_checked(local.len() - 4)?;
            format!("{head} {tail}")
        }
    };
    Some(extension.map_or_else(|| format!("{area} {local}"), |x| format!("{area} {local} x{x}")))
}

/// Digits of the area code with its 0, from the first digits and the length of the whole number (UK National Telephone
/// Numbering Plan: from memory). `None` when the length does not fit.
fn area_length(digits: &str) -> Option<usize> {
    let bytes = digits.as_bytes();
    match (digits.len(), bytes.first()?, bytes.get(1)?, bytes.get(2)?, bytes.get(3)?) {
        (11, b'0', b'2', ..) => Some(3),
        (11, b'0', b'1', b'1', _)
        | (11, b'0', b'1', _, b'1')
        | (11, b'0', b'3' | b'8' | b'9', ..)
        | (10, b'0', b'8' | b'5', ..) => Some(4),
        (11, b'0', b'1' | b'7', ..) | (10, b'0', b'1', ..) => Some(5),
        _ => None,
    }
}

/// The digits of "x1234", "ext. 1234" or "extension 1234".
fn extension_digits(text: &str) -> Option<&str> {
    let rest = ["extension", "extn", "ext", "x"].iter().find_map(|word| text.strip_prefix(word))?;
    let digits = rest.trim_start_matches('.').trim();
    (!digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit())).then_some(digits)
}

/// Whole months between birth and today; `None` before birth.
fn months_of_age(born: NaiveDate, today: NaiveDate) -> Option<u32> {
    let months =
        (today.year() - born.year()) * 12 + i32::try_from(today.month()).ok()? - i32::try_from(born.month()).ok()?;
    let months = u32::try_from(months).ok()?;
    // The month is full on the same day; where the month is too short for it, on the first of the next one.
    if today.day() >= born.day() { Some(months) } else { months.checked_sub(1) }
}

/// The day on which `months` months were full.
fn birthday(born: NaiveDate, months: u32) -> Option<NaiveDate> {
    let clamped = born.checked_add_months(Months::new(months))?;
    if clamped.day() == born.day() { Some(clamped) } else { clamped.succ_opt() }
}

fn two_units(first: (i64, &str), second: (i64, &str)) -> String {
    match second.0 {
        0 => format!("{}{}", first.0, first.1),
        _ => format!("{}{} {}{}", first.0, first.1, second.0, second.1),
    }
}
