//! The fields that a caseload sheet can fill, each with the headings under which clinics are likely to have it.
//!
//! A list of words; it must not decide anything.

use serde::Serialize;

/// Declares the fields: variant, code for map files, title for pages, sure headings, likely headings.
///
/// Headings are written as [`super::columns::heading_key`] makes them: small letters and digits without blanks.
macro_rules! fields {
    ($($(#[$doc:meta])* $variant:ident = $code:literal, $title:literal, [$($sure:literal)*], [$($likely:literal)*];)+) => {
        /// What a column can hold.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
        pub enum Field { $($(#[$doc])* #[serde(rename = $code)] $variant,)+ }

        impl Field {
            /// All fields, in the order in which a page lists them.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The code used in map files and forms.
            pub fn code(self) -> &'static str {
                match self { $(Self::$variant => $code,)+ }
            }

            /// The name shown to people.
            pub fn title(self) -> &'static str {
                match self { $(Self::$variant => $title,)+ }
            }

            /// Headings that can mean nothing else (local list).
            pub(super) fn sure_headings(self) -> &'static [&'static str] {
                match self { $(Self::$variant => &[$($sure,)*],)+ }
            }

            /// Headings that most likely mean this; the page asks for a closer look (local list).
            pub(super) fn likely_headings(self) -> &'static [&'static str] {
                match self { $(Self::$variant => &[$($likely,)*],)+ }
            }

            /// The field of a code, if there is one.
            pub fn from_code(code: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|field| field.code() == code)
            }
        }
    };
}

fields! {
    /// Family name alone.
    FamilyName = "family_name", "Family name", ["familyname" "surname" "lastname" "patientsurname"], [];
    /// Given name alone.
    GivenName = "given_name", "Forename",
        ["givenname" "forename" "forenames" "firstname" "firstnames" "christianname" "givennames" "patientforename"], [];
    /// Both names in one cell.
    FullName = "full_name", "Name", ["fullname" "patientname" "nameofpatient" "clientname"], ["name" "patient" "client"];
    /// Mrs, Mr, Dr …
    Title = "title", "Title", ["title" "salutation" "nametitle"], [];
    /// Date of birth.
    BirthDate = "birth_date", "Date of birth",
        ["birthdate" "dateofbirth" "dob" "born" "birthday" "patientdob" "bornon"], [];
    /// Gender; a column headed "Sex" is usually what clinics have for it.
    Gender = "gender", "Gender", ["gender" "currentgender"], ["sex" "mf"];
    /// NHS number.
    NhsNumber = "nhs_number", "NHS number", ["nhsnumber" "nhsno" "nhsnum" "nhs" "newnhsnumber" "newnhsno" "nhsnr"], [];
    /// CHI number.
    ChiNumber = "chi_number", "CHI number", ["chinumber" "chino" "chi" "chinum" "communityhealthindex"], [];
    /// H&C number.
    HcNumber = "hc_number", "H&C number",
        ["hcnumber" "hcno" "hc" "hcn" "hscnumber" "hscno" "healthandcarenumber" "hcnum"], [];
    /// The clinic's own number.
    LocalNumber = "local_number", "Local number",
        ["localnumber" "localno" "hospitalnumber" "hospitalno" "hospno" "hospnumber" "hospnum" "mrn" "unitnumber" "unitno"
         "casenotenumber" "pasnumber" "pasno" "patientnumber" "patientno" "localid" "medicalrecordnumber"], ["patientid" "id"];
    /// First telephone.
    Phone = "phone", "Telephone",
        ["phone" "telephone" "tel" "telno" "telephoneno" "telephonenumber" "phonenumber" "phoneno" "contactnumber"
         "contactno" "hometelephone" "homephone" "hometel" "landline"], [];
    /// Second telephone.
    Mobile = "mobile", "Mobile", ["mobile" "mobileno" "mobilenumber" "mobilephone" "mob" "cell" "mobiletel"], [];
    /// Email address.
    Email = "email", "Email", ["email" "emailaddress" "mail"], [];
    /// Address, or its first line.
    Address = "address", "Address",
        ["address" "homeaddress" "patientaddress" "address1" "addressline1" "add1" "street" "fulladdress"], [];
    /// Second line of the address.
    AddressLine2 = "address_2", "Address, line 2", ["address2" "addressline2" "add2"], [];
    /// Third line of the address.
    AddressLine3 = "address_3", "Address, line 3", ["address3" "addressline3" "add3"], [];
    /// Town.
    Town = "town", "Town", ["town" "city" "towncity" "posttown" "address4" "addressline4"], [];
    /// County.
    County = "county", "County", ["county"], [];
    /// Postcode.
    Postcode = "postcode", "Postcode", ["postcode" "postalcode" "pcode" "zip"], [];
    /// GP practice.
    GpPractice = "gp_practice", "GP practice",
        ["gppractice" "gpsurgery" "gp" "practice" "gpname" "surgerygp" "gpnameaddress" "registeredgp" "gppracticename"], [];
    /// Kind of stoma, often with construction and permanence in the same cell.
    StomaKind = "stoma_kind", "Kind of stoma",
        ["stomakind" "stomatype" "typeofstoma" "kindofstoma" "ostomytype" "typeofostomy"], ["stoma" "ostomy"];
    /// End, loop, double-barrel.
    Construction = "construction", "End or loop",
        ["construction" "endorloop" "endloop" "loopend" "looporend" "stomaconstruction"], [];
    /// Permanent or temporary.
    Permanence = "permanence", "Permanent or temporary",
        ["permanence" "permanentortemporary" "permanenttemporary" "permtemp" "temporaryorpermanent" "temporarypermanent"
         "temppermanent" "temperm" "tempperm" "permortemp" "temporperm"], [];
    /// Date of the operation that formed the stoma.
    SurgeryDate = "surgery_date", "Date of surgery",
        ["surgerydate" "dateofsurgery" "operationdate" "dateofoperation" "opdate" "dateofop" "surgeryon" "doo" "dos"
         "dateformed" "stomaformed" "dateofformation" "dateofstomaformation"], [];
    /// Planned or emergency.
    SurgeryUrgency = "surgery_urgency", "Planned or emergency",
        ["surgeryurgency" "plannedoremergency" "electiveoremergency" "electiveemergency" "emergencyelective"
         "emergencyorelective" "plannedemergency" "surgerytype" "typeofsurgery"], [];
    /// Date of going home.
    DischargeDate = "discharge_date", "Date of discharge",
        ["dischargedate" "dateofdischarge" "dischargedon" "hospitaldischargedate" "datedischarged"], ["discharge" "discharged"];
    /// Date on which a reversal is planned or took place.
    ReversalDate = "reversal_date", "Date of reversal",
        ["reversaldate" "dateofreversal" "plannedreversal" "reversedon" "plannedreversaldate" "datereversed"], ["reversal"];
    /// Width, or width × height, on the skin in mm.
    Size = "size", "Width of the stoma in mm",
        ["stomasize" "stomawidth" "width" "widthmm" "sizemm" "stomasizemm" "stomawidthmm" "stomadiameter"
         "stomadiametermm" "diametermm" "stomameasurement"], ["size" "diameter"];
    /// Height above the skin in mm.
    Protrusion = "protrusion", "Protrusion in mm", ["protrusion" "protrusionmm" "spout" "spoutlength" "spoutmm"], [];
    /// Where on the abdomen.
    SiteOnAbdomen = "site_on_abdomen", "Place on the abdomen",
        ["siteonabdomen" "stomasite" "siteofstoma" "positiononabdomen" "stomaposition" "abdominalsite" "quadrant"
         "placeonabdomen" "stomalocation"], ["position"];
    /// Where the clinic sees the patient.
    ClinicSite = "clinic_site", "Clinic",
        ["clinicsite" "clinic" "cliniclocation" "reviewclinic" "hospitalsite"], ["hospital"];
    /// Last contact.
    LastSeen = "last_seen", "Last seen",
        ["lastseen" "lastseenon" "datelastseen" "lastreview" "lastreviewdate" "lastappointment" "lastappt" "lastcontact"
         "dateoflastreview" "lastvisit" "lastclinic"], [];
    /// Next planned review.
    NextReview = "next_review", "Next review",
        ["nextreview" "nextreviewdate" "reviewdue" "nextappointment" "nextappt" "nextdue" "duedate" "nextseen"
         "nextreviewdue" "dateofnextreview" "nextvisit" "nextclinic" "reviewduedate"], ["due"];
    /// Active, died, moved, reversed, declined.
    Status = "status", "Status", ["status" "patientstatus" "caseloadstatus"], [];
    /// Since when the status holds.
    StatusDate = "status_date", "Date of the status",
        ["statusdate" "dateofstatus" "statuschanged" "enddate"], [];
    /// Date of death; a date here says that the patient died.
    DeathDate = "death_date", "Date of death", ["dateofdeath" "deathdate" "dod" "diedon"], ["died" "deceased"];
    /// Allergies and materials to avoid.
    Allergies = "allergies", "Allergies and sensitivities",
        ["allergies" "allergy" "sensitivities" "knownallergies" "allergiessensitivities" "skinsensitivities" "sensitivity"], [];
    /// Anything else.
    Notes = "notes", "Notes", ["notes" "note" "comments" "comment" "remarks" "freetext" "additionalinformation"], [];
}

impl Field {
    /// True for a date.
    pub fn is_date(self) -> bool {
        matches!(
            self,
            Self::BirthDate
                | Self::SurgeryDate
                | Self::DischargeDate
                | Self::ReversalDate
                | Self::LastSeen
                | Self::NextReview
                | Self::StatusDate
                | Self::DeathDate
        )
    }
}
