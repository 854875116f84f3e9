//! The engine against a second reckoning in Python fractions (`tests/outside/supply_oracle.py`).

use std::process::Command;

use serde_json::Value;

use super::decided;

#[test]
fn supply_agrees_with_python_fractions() {
    let python = std::env::var("ROUNDEL_TEST_PYTHON")
        .expect("ROUNDEL_TEST_PYTHON is not set: run tests/run, it makes the Python environment");
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/supply_oracle.py");
    let output = Command::new(python).arg(script).args(["5000", "20260105"]).output().expect("Python starts");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let (mut requests, mut bands) = (0, std::collections::BTreeMap::<String, u32>::new());
    for row in String::from_utf8(output.stdout).expect("text").lines() {
        let row: Value = serde_json::from_str(row).expect("JSON");
        let answer = decided(&row["request"]);
        let lines = answer["lines"].as_array().expect("lines");
        let expected = row["lines"].as_array().expect("lines");
        assert_eq!(lines.len(), expected.len());
        for (found, expected) in lines.iter().zip(expected) {
            for field in ["units", "packs", "supplied", "surplus", "left_at_end", "days_supply"] {
                assert_eq!(found[field], expected[field], "{field} of {row}");
            }
            for verdict in found["verdicts"].as_array().expect("verdicts") {
                let set = verdict["set"].as_str().expect("set");
                let judged = &expected["verdicts"][set];
                for field in ["verdict", "low", "high"] {
                    assert_eq!(verdict[field], judged[field], "{field} by {set} of {row}");
                }
                *bands.entry(format!("{set} {}", verdict["verdict"])).or_default() += 1;
            }
        }
        requests += 1;
    }
    assert_eq!(requests, 5_000);
    // The comparison is only worth something if every answer of every set comes up often.
    let seen = |set: &str, bands_of: &[&str]| {
        for band in bands_of {
            let count = bands.get(&format!("{set} \"{band}\"")).copied().unwrap_or(0);
            assert!(count > 50, "{set} answered {band} {count} times only");
        }
    };
    seen("scotland-2015", &["in-range", "above-usual", "over", "no-published-limit"]);
    seen("us-coverage", &["in-range", "over", "no-published-limit"]);
    seen("australia-scheme", &["in-range", "above-usual", "over", "no-published-limit"]);
    seen("doncaster", &["in-range", "over", "no-published-limit"]);
    seen("england-template", &["under", "in-range", "over", "no-published-limit"]);
}
