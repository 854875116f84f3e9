//! Roles of existing staff: changed by who may, never so that nobody is left to manage staff.

use roundel::access::roles::Role;
use roundel::access::store;
use roundel::db::ids::StaffId;

use crate::both_backends;
use crate::support::{Page, TestApp};

fn roles(app: &TestApp, id: StaffId) -> Vec<Role> {
    app.read(move |conn| store::roles_of(conn, id))
}

fn summary(page: &Page) -> String {
    page.select_text("#error-summary li").join(" | ")
}

both_backends! {
    async fn roles_are_changed_and_count_at_once(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let nurse = app.as_role(Role::Nurse);
        let id = nurse.staff.unwrap();
        nurse.get("/service").await.expect(403);
        let form = administrator.get(&format!("/staff/{id}")).await.expect(200);
        assert_eq!(form.attributes("input[name=roles][checked]", "value"), ["nurse"]);
        let version = form.value("version").unwrap();
        let path = format!("/staff/{id}/roles");
        let before = app.last_event();
        administrator.post(&path, &[("version", &version), ("roles", "nurse"), ("roles", "lead")]).await.expect(303);
        assert_eq!(roles(&app, id), [Role::Nurse, Role::Lead]);
        nurse.get("/service").await.expect(200);
        let events = app.events_after(before);
        let event = events.iter().find(|e| e.what == "staff.roles").unwrap();
        assert!(event.detail.contains("\"before\":\"nurse\"") && event.detail.contains("\"after\":\"nurse+lead\""), "{}", event.detail);
        // A page opened before the change is refused.
        administrator.post(&path, &[("version", &version), ("roles", "clerk")]).await.expect(409);
        let version = administrator.get(&format!("/staff/{id}")).await.value("version").unwrap();
        for (wrong, says) in [(vec![], "at least one role"), (vec![("roles", "king")], "of the list only")] {
            let mut fields = vec![("version", version.as_str())];
            fields.extend(wrong);
            let page = administrator.post(&path, &fields).await.expect(422);
            assert!(summary(&page).contains(says), "{}", summary(&page));
        }
        assert_eq!(roles(&app, id), [Role::Nurse, Role::Lead]);
    }

    async fn the_last_who_can_manage_staff_stays(app: TestApp) {
        let administrator = app.as_role(Role::Administrator);
        let id = administrator.staff.unwrap();
        let (page, roles_path) = (format!("/staff/{id}"), format!("/staff/{id}/roles"));
        // Somebody who never chose a password cannot sign in, so does not count.
        let waiting = store::new_staff(app.service_id, "waiting@clinic.example", "Has No Password", app.now());
        app.write(move |tx| store::add_staff(tx, &waiting, &[Role::Administrator]));
        let version = administrator.get(&page).await.expect(200).value("version").unwrap();
        let before = app.last_event();
        let refused = administrator.post(&roles_path, &[("version", &version), ("roles", "nurse")]).await.expect(422);
        assert!(summary(&refused).contains("can manage staff"), "{}", summary(&refused));
        assert_eq!(roles(&app, id), [Role::Administrator]);
        assert!(app.events_after(before).iter().any(|e| e.what == "staff.roles" && e.outcome == "refused"));
        // Neither counts an administrator of another service.
        let elsewhere = app.add_service("Another Service");
        app.as_roles(elsewhere, &[Role::Administrator]);
        administrator.post(&roles_path, &[("version", &version), ("roles", "nurse")]).await.expect(422);
        // With another there, one may go.
        let other = app.as_role(Role::Administrator);
        administrator.post(&roles_path, &[("version", &version), ("roles", "nurse")]).await.expect(303);
        administrator.get("/staff").await.expect(403);
        other.get("/staff").await.expect(200);
        let own = other.staff.unwrap();
        other.post(&format!("/staff/{own}"), &[("act", "close")]).await.expect(409);
    }

    async fn nobody_of_another_service_is_reached(app: TestApp) {
        let elsewhere = app.add_service("Another Service");
        let stranger = app.db_person(elsewhere, &[Role::Nurse]);
        let administrator = app.as_role(Role::Administrator);
        administrator.get("/staff").await.expect(200);
        administrator.get(&format!("/staff/{}", stranger.id)).await.expect(404);
        administrator.post(&format!("/staff/{}/roles", stranger.id), &[("version", "1"), ("roles", "clerk")]).await.expect(404);
        assert_eq!(roles(&app, stranger.id), [Role::Nurse]);
    }
}
