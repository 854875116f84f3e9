//! The tables, written by hand once for both databases (own SQL types, see `types.rs`).
//!
//! A test selects from every table on both databases and compares the two catalogues, so a column that
//! drifts from the migrations is found. Nothing else belongs here.
#![allow(missing_docs, reason = "column names are the documentation; the migrations carry the comments")]

/// `diesel::table!` with the SQL types of diesel and ours in scope.
macro_rules! table {
    ($($table:tt)*) => { diesel::table! { use diesel::sql_types::*; use crate::db::types::sql::*; $($table)* } };
}

table! {
    services (id) {
        id -> Guid,
        name -> Text,
        nation -> Text,
        demo -> Bool,
        band_set -> Text,
        quantity_set -> Text,
        protocol_colostomy -> Text,
        protocol_ileostomy -> Text,
        protocol_urostomy -> Text,
        clinic_opens -> Text,
        clinic_closes -> Text,
        slot_minutes -> Integer,
        phone -> Nullable<Text>,
        created_at -> Instant,
        version -> Integer,
    }
}

table! {
    setup_steps (service_id, step) {
        service_id -> Guid,
        step -> Text,
        done_at -> Instant,
        done_by -> Nullable<Guid>,
    }
}

table! {
    sites (id) {
        id -> Guid,
        service_id -> Guid,
        name -> Text,
        closed_at -> Nullable<Instant>,
    }
}

table! {
    staff (id) {
        id -> Guid,
        service_id -> Guid,
        sign_in_name -> Text,
        display_name -> Text,
        registration -> Nullable<Text>,
        password_hash -> Nullable<Text>,
        failed_count -> Integer,
        locked_until -> Nullable<Instant>,
        disabled_at -> Nullable<Instant>,
        version -> Integer,
        created_at -> Instant,
    }
}

table! {
    staff_roles (staff_id, role) {
        service_id -> Guid,
        staff_id -> Guid,
        role -> Text,
    }
}

table! {
    sign_in_links (token_hash) {
        token_hash -> Binary,
        service_id -> Guid,
        staff_id -> Guid,
        expires_at -> Instant,
        used_at -> Nullable<Instant>,
    }
}

table! {
    sessions (token_hash) {
        token_hash -> Binary,
        service_id -> Guid,
        staff_id -> Guid,
        form_token -> Text,
        message -> Nullable<Text>,
        search -> Nullable<Text>,
        address -> Text,
        created_at -> Instant,
        last_seen_at -> Instant,
        ended_at -> Nullable<Instant>,
        undo -> Nullable<Text>,
    }
}

table! {
    audit_events (seq) {
        seq -> BigInt,
        id -> Guid,
        service_id -> Nullable<Guid>,
        at -> Instant,
        staff_id -> Nullable<Guid>,
        staff_name -> Text,
        roles -> Text,
        action -> Text,
        what -> Text,
        outcome -> Text,
        request_id -> Text,
        address -> Text,
        detail -> Text,
        prev_hash -> Binary,
        hash -> Binary,
    }
}

table! {
    audit_subjects (service_id, patient_id, seq) {
        seq -> BigInt,
        service_id -> Guid,
        patient_id -> Guid,
    }
}

table! {
    audit_head (id) {
        id -> Integer,
        seq -> BigInt,
        hash -> Binary,
    }
}

table! {
    patients (id) {
        id -> Guid,
        service_id -> Guid,
        family_name -> Text,
        given_name -> Text,
        title -> Nullable<Text>,
        preferred_name -> Nullable<Text>,
        born_on -> Nullable<Date>,
        gender -> Text,
        address -> Nullable<Text>,
        postcode -> Nullable<Text>,
        phone -> Nullable<Text>,
        email -> Nullable<Text>,
        gp_practice -> Nullable<Text>,
        dispenser -> Nullable<Text>,
        sensitivity -> Text,
        sensitivity_note -> Nullable<Text>,
        note -> Nullable<Text>,
        search_key -> Text,
        name_key -> Text,
        ended_reason -> Nullable<Text>,
        ended_on -> Nullable<Date>,
        version -> Integer,
        created_at -> Instant,
        updated_at -> Instant,
        site_id -> Nullable<Guid>,
    }
}

table! {
    patient_identifiers (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        scheme -> Text,
        value -> Text,
    }
}

table! {
    record_versions (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        entity -> Text,
        entity_id -> Guid,
        version -> Integer,
        content -> JsonDoc,
        reason -> Nullable<Text>,
        replaced_at -> Instant,
        replaced_by -> Nullable<Guid>,
    }
}

table! {
    stomas (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        kind -> Text,
        construction -> Text,
        permanence -> Text,
        surgery -> Text,
        surgery_on -> Nullable<Date>,
        discharge_on -> Nullable<Date>,
        reversal_on -> Nullable<Date>,
        reversed_on -> Nullable<Date>,
        place -> Nullable<Text>,
        width_mm -> Nullable<Integer>,
        height_mm -> Nullable<Integer>,
        protrusion_mm -> Nullable<Integer>,
        protocol_id -> Text,
        protocol_version -> Integer,
        last_seen_on -> Nullable<Date>,
        taken_on -> Date,
        version -> Integer,
        created_at -> Instant,
        updated_at -> Instant,
        refashioned_as -> Nullable<Guid>,
    }
}

table! {
    reviews (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        stoma_id -> Nullable<Guid>,
        protocol_id -> Text,
        protocol_version -> Integer,
        step -> Nullable<Text>,
        occurrence -> Integer,
        title -> Text,
        mode -> Text,
        nominal_on -> Date,
        earliest_on -> Nullable<Date>,
        latest_on -> Date,
        planned_on -> Date,
        status -> Text,
        reasons -> JsonDoc,
        booked_on -> Nullable<Date>,
        booked_time -> Nullable<Text>,
        assigned_to -> Nullable<Guid>,
        deferred_reason -> Nullable<Text>,
        by_hand -> Bool,
        closed_by_plan -> Bool,
        off_plan -> Nullable<Text>,
        closed_reason -> Nullable<Text>,
        closed_on -> Nullable<Date>,
        version -> Integer,
        created_at -> Instant,
        updated_at -> Instant,
    }
}

table! {
    contacts (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        stoma_id -> Nullable<Guid>,
        review_id -> Nullable<Guid>,
        mode -> Text,
        outcome -> Text,
        held_on -> Date,
        note -> Nullable<Text>,
        made_by -> Guid,
        created_at -> Instant,
        undone_at -> Nullable<Instant>,
    }
}

table! {
    assessments (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        stoma_id -> Guid,
        contact_id -> Nullable<Guid>,
        assessed_on -> Date,
        inputs -> JsonDoc,
        score -> Integer,
        discolouration -> Integer,
        erosion -> Integer,
        overgrowth -> Integer,
        band_set -> Text,
        band -> Text,
        rule_version -> Text,
        symptoms -> JsonDoc,
        findings -> JsonDoc,
        cause -> Nullable<Text>,
        plan -> Nullable<Text>,
        status -> Text,
        amends_id -> Nullable<Guid>,
        amend_reason -> Nullable<Text>,
        signed_by -> Guid,
        signed_at -> Instant,
    }
}

table! {
    catalogue_items (id) {
        id -> Guid,
        service_id -> Guid,
        code -> Text,
        category -> Text,
        name -> Text,
        size -> Nullable<Text>,
        pack -> Integer,
        unit -> Text,
        coupling_mm -> Nullable<Integer>,
        coupling -> Nullable<Text>,
        convexity -> Nullable<Text>,
        content_g -> Nullable<Integer>,
        content_ml -> Nullable<Integer>,
        precut -> Nullable<Bool>,
        latex -> Nullable<Bool>,
        animal_derived -> Nullable<Bool>,
        source -> Text,
        active -> Bool,
        version -> Integer,
        created_at -> Instant,
    }
}

table! {
    prescriptions (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        stoma_id -> Guid,
        number -> Integer,
        status -> Text,
        period_days -> Integer,
        quantity_set -> Text,
        rule_version -> Text,
        findings -> JsonDoc,
        dispenser -> Nullable<Text>,
        note -> Nullable<Text>,
        override_reason -> Nullable<Text>,
        drawn_up_by -> Guid,
        drawn_up_at -> Instant,
        signed_by -> Nullable<Guid>,
        signed_at -> Nullable<Instant>,
        supersedes_id -> Nullable<Guid>,
        stopped_reason -> Nullable<Text>,
        version -> Integer,
    }
}

table! {
    prescription_lines (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        prescription_id -> Guid,
        position -> Integer,
        item_id -> Guid,
        category -> Text,
        name -> Text,
        size -> Nullable<Text>,
        unit -> Text,
        pack -> Integer,
        use_units -> Integer,
        use_every_days -> Integer,
        on_hand -> Integer,
        aperture_mm -> Nullable<Integer>,
        issue -> Text,
        reason -> Nullable<Text>,
        review_on -> Nullable<Date>,
        units -> Integer,
        packs -> Integer,
        supplied -> Integer,
        days_supply -> Integer,
        verdict -> JsonDoc,
    }
}

table! {
    uploads (id) {
        id -> Guid,
        service_id -> Guid,
        staff_id -> Guid,
        content -> Binary,
        created_at -> Instant,
    }
}

table! {
    week_rows (patient_id) {
        patient_id -> Guid,
        service_id -> Guid,
        name -> Text,
        sort_name -> Text,
        born_on -> Nullable<Date>,
        identifier -> Nullable<Text>,
        stoma_id -> Nullable<Guid>,
        stoma_kind -> Nullable<Text>,
        stoma_words -> Text,
        surgery_on -> Nullable<Date>,
        review_id -> Nullable<Guid>,
        review_title -> Nullable<Text>,
        review_mode -> Nullable<Text>,
        review_status -> Nullable<Text>,
        review_version -> Nullable<Integer>,
        due_on -> Nullable<Date>,
        planned_on -> Nullable<Date>,
        latest_on -> Nullable<Date>,
        booked_on -> Nullable<Date>,
        booked_time -> Nullable<Text>,
        assigned_to -> Nullable<Guid>,
        last_score -> Nullable<Integer>,
        previous_score -> Nullable<Integer>,
        last_band -> Nullable<Text>,
        urgent -> Bool,
        signals -> JsonDoc,
        off_plan -> Nullable<Text>,
    }
}

table! {
    protocols (id) {
        id -> Guid,
        service_id -> Guid,
        code -> Text,
        copied_from -> Text,
        created_by -> Nullable<Guid>,
        created_at -> Instant,
    }
}

table! {
    protocol_versions (id) {
        id -> Guid,
        service_id -> Guid,
        protocol_id -> Guid,
        number -> Integer,
        document -> JsonDoc,
        in_force_from -> Nullable<Date>,
        put_in_force_by -> Nullable<Guid>,
        put_in_force_at -> Nullable<Instant>,
        changed_by -> Nullable<Guid>,
        version -> Integer,
        created_at -> Instant,
        updated_at -> Instant,
    }
}

table! {
    closures (id) {
        id -> Guid,
        service_id -> Guid,
        closed_on -> Date,
        name -> Text,
        made_by -> Nullable<Guid>,
        created_at -> Instant,
    }
}

table! {
    bank_holiday_tables (id) {
        id -> Guid,
        document -> Text,
        source -> Text,
        made_on -> Date,
        loaded_at -> Instant,
    }
}

table! {
    weekly_slots (id) {
        id -> Guid,
        service_id -> Guid,
        site_id -> Nullable<Guid>,
        mode -> Text,
        slots -> Integer,
    }
}

table! {
    task_runs (id) {
        id -> Guid,
        service_id -> Guid,
        task -> Text,
        for_day -> Date,
        instance -> Text,
        started_at -> Instant,
        beat_at -> Instant,
        finished_at -> Nullable<Instant>,
        days_missed -> Integer,
        looked_at -> Integer,
        changed -> Integer,
    }
}

table! {
    assessment_cells (service_id, assessment_id, hour, ring, finding) {
        service_id -> Guid,
        patient_id -> Guid,
        assessment_id -> Guid,
        hour -> Integer,
        ring -> Integer,
        finding -> Text,
    }
}

table! {
    red_flags (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        assessment_id -> Guid,
        rule -> Text,
        thresholds -> Text,
        answer -> Text,
        reason -> Nullable<Text>,
        answered_by -> Guid,
        answered_at -> Instant,
    }
}

table! {
    photographs (id) {
        id -> Guid,
        service_id -> Guid,
        patient_id -> Guid,
        stoma_id -> Nullable<Guid>,
        taken_on -> Date,
        consent -> Text,
        consent_note -> Nullable<Text>,
        what -> Nullable<Text>,
        width -> Integer,
        height -> Integer,
        content -> Nullable<Binary>,
        added_by -> Guid,
        added_at -> Instant,
        removed_by -> Nullable<Guid>,
        removed_at -> Nullable<Instant>,
        removed_reason -> Nullable<Text>,
    }
}

table! {
    calibration_answers (id) {
        id -> Guid,
        service_id -> Guid,
        staff_id -> Guid,
        case_id -> Text,
        case_version -> Text,
        discolouration_area -> Integer,
        discolouration_severity -> Integer,
        erosion_area -> Integer,
        erosion_severity -> Integer,
        overgrowth_area -> Integer,
        overgrowth_severity -> Integer,
        score -> Integer,
        answered_at -> Instant,
    }
}

table! {
    drafts (id) {
        id -> Guid,
        service_id -> Guid,
        staff_id -> Guid,
        form -> Text,
        place -> Text,
        patient_id -> Nullable<Guid>,
        base_version -> Nullable<Integer>,
        body -> JsonDoc,
        begun_at -> Instant,
        saved_at -> Instant,
    }
}

table! {
    sent_forms (service_id, once) {
        service_id -> Guid,
        once -> Guid,
        staff_id -> Guid,
        answer -> Text,
        sent_at -> Instant,
    }
}

table! {
    undos (id) {
        id -> Guid,
        service_id -> Guid,
        staff_id -> Guid,
        act -> Text,
        before -> JsonDoc,
        done_at -> Instant,
        undone_at -> Nullable<Instant>,
    }
}

diesel::allow_tables_to_appear_in_same_query!(
    services,
    setup_steps,
    sites,
    staff,
    staff_roles,
    sign_in_links,
    sessions,
    audit_events,
    audit_subjects,
    audit_head,
    patients,
    patient_identifiers,
    record_versions,
    stomas,
    reviews,
    contacts,
    assessments,
    assessment_cells,
    red_flags,
    photographs,
    calibration_answers,
    catalogue_items,
    prescriptions,
    prescription_lines,
    uploads,
    week_rows,
    drafts,
    sent_forms,
    undos,
    protocols,
    protocol_versions,
    closures,
    bank_holiday_tables,
    weekly_slots,
    task_runs,
);
