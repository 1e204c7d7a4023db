//! Who is let in, what every response carries, and what is refused at the door.

use axum::body::Body;
use axum::http::Request;
use axum::http::StatusCode;
use store::words::Role;

use crate::ask::PASSWORD;
use crate::ask::bench;
use crate::ask::bench_with;
use crate::ask::csrf;
use crate::ask::post;

#[tokio::test(flavor = "multi_thread")]
async fn every_page_carries_the_headers_of_a_page_that_holds_patients() {
    let bench = bench().await;
    for path in ["/login", "/nowhere", "/accounts", "/health"] {
        let got = bench.get(path, "").await;
        for (name, value) in [
            ("x-content-type-options", "nosniff"),
            ("referrer-policy", "same-origin"),
            ("cross-origin-opener-policy", "same-origin"),
            ("cache-control", "no-store"),
        ] {
            assert_eq!(got.header(name), value, "{path}");
        }
        let policy = got.header("content-security-policy");
        for part in [
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "frame-ancestors 'none'",
            "base-uri 'none'",
            "object-src 'none'",
            "form-action 'self'",
        ] {
            assert!(policy.contains(part), "{path}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        assert!(got.header("permissions-policy").contains("camera=()"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn with_tls_cookies_are_bound_to_the_host_and_https_is_remembered() {
    let bench = bench_with(true).await;
    let got = bench
        .send(Request::get("/login").header("host", "desk.example").body(Body::empty()).unwrap())
        .await;
    assert!(got.header("strict-transport-security").starts_with("max-age=63072000"));
    let cookie = got.header("set-cookie");
    assert!(cookie.starts_with("__Host-matins-visitor="), "{cookie}");
    for part in ["; Path=/", "; HttpOnly", "; SameSite=Strict", "; Secure"] {
        assert!(cookie.contains(part), "{cookie}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_name_this_server_does_not_have_is_refused() {
    let bench = bench().await;
    for (host, status) in [
        ("evil.example", 421),
        ("127.0.0.1.evil.example:8417", 421),
        ("localhost:8417", 200),
        ("DESK.example", 200),
        ("[::1]:8417", 200),
    ] {
        let got = bench
            .send(Request::get("/login").header("host", host).body(Body::empty()).unwrap())
            .await;
        assert_eq!(got.status.as_u16(), status, "{host}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn methods_that_no_page_uses_are_refused() {
    let bench = bench().await;
    for method in ["TRACE", "PUT", "DELETE", "OPTIONS", "PATCH"] {
        let request = Request::builder().method(method).uri("/login").header("host", "localhost");
        assert_eq!(
            bench.send(request.body(Body::empty()).unwrap()).await.status,
            StatusCode::METHOD_NOT_ALLOWED,
            "{method}"
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn logging_in_gives_a_new_token_and_leads_to_the_page_asked_for() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let asked = bench.get("/accounts?x=1", "").await;
    assert_eq!(
        (asked.status, asked.header("location")),
        (StatusCode::SEE_OTHER, "/login?then=/accounts%3Fx%3D1")
    );
    let before = "a".repeat(64);
    let done = bench
        .post(
            "/login",
            &before,
            &format!(
                "login=administrator&password={}&then=/accounts%3Fx%3D1",
                PASSWORD.replace(' ', "+")
            ),
        )
        .await;
    assert_eq!((done.status, done.header("location")), (StatusCode::SEE_OTHER, "/accounts?x=1"));
    let token = done.cookie("matins").unwrap();
    assert!(token.len() == 64 && token != before);
    assert_eq!(bench.get("/accounts", &token).await.status, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread")]
async fn after_logging_in_nobody_is_led_to_another_server() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    for then in [
        "https://evil.example/",
        "//evil.example",
        "/%5Cevil.example",
        "/%09/evil.example",
        "/%0A/evil.example",
        "/nowhere",
    ] {
        let fields = format!("login=desk&password={}&then={then}", PASSWORD.replace(' ', "+"));
        let done = bench.post("/login", &"b".repeat(64), &fields).await;
        assert_eq!(done.header("location"), "/", "{then}");
        let token = done.cookie("matins").unwrap();
        let led = bench.get(&format!("/login?then={then}"), &token).await;
        assert_eq!(led.header("location"), "/", "{then}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_unknown_login_and_a_wrong_password_get_the_same_answer() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let strip = |text: &str| text.replace("value=\"desk\"", "").replace("value=\"dusk\"", "");
    let wrong = bench.post("/login", &"c".repeat(64), "login=desk&password=wrong+one+here").await;
    let unknown = bench.post("/login", &"c".repeat(64), "login=dusk&password=wrong+one+here").await;
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(strip(&wrong.text), strip(&unknown.text));
    assert!(
        wrong.text.contains("Login or password is wrong.")
            && !wrong.text.contains("wrong one here")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_from_elsewhere_is_refused() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    let good = format!("csrf={}&name=Zo+Lamp&login=zo&role=desk", csrf(&token));
    for (header, value, body) in [
        ("sec-fetch-site", "cross-site", good.as_str()),
        ("sec-fetch-site", "same-site", &good),
        ("origin", "http://evil.example", &good),
        ("origin", "null", &good),
        ("x-nothing", "changed", "name=Zo+Lamp&login=zo&role=desk"),
        ("x-nothing", "changed", &good.replace("csrf=", "csrf=0")),
        ("x-csrf", "not-the-proof", &good),
    ] {
        let mut request = post("/accounts/new", &token, body);
        request.headers_mut().insert(header, value.parse().unwrap());
        let got = bench.send(request).await;
        assert_eq!(got.status, StatusCode::FORBIDDEN, "{header}: {value}, {body}");
    }
    assert_eq!(bench.store.accounts().await.unwrap().len(), 1);
    let done = bench.send(post("/accounts/new", &token, &good)).await;
    assert!(done.text.contains("One-time link for Zo Lamp"), "{}", done.text);
}

#[tokio::test(flavor = "multi_thread")]
async fn no_page_changes_anything_by_being_looked_at() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let token = bench.token(Role::Administrator).await;
    for path in ["/logout", "/session/stay", "/accounts/1/close", "/scan"] {
        assert_eq!(bench.get(path, &token).await.status, StatusCode::METHOD_NOT_ALLOWED, "{path}");
    }
    assert_eq!(bench.get("/accounts", &token).await.status, StatusCode::OK);
}

#[tokio::test(flavor = "multi_thread")]
async fn logging_out_ends_the_session_on_the_server_and_clears_the_browser() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Desk).await;
    let out = bench.post("/logout", &token, "").await;
    assert_eq!(out.header("location"), "/login");
    assert!(out.header("clear-site-data").contains("storage"));
    assert_eq!(out.cookie("matins").unwrap(), "");
    assert_eq!(bench.get("/password", &token).await.header("location"), "/login?then=/password");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_form_sent_too_late_is_kept_for_whoever_typed_it_but_never_a_password() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    bench.account(Role::Governance).await;
    let token = bench.token(Role::Administrator).await;
    bench.get("/accounts/new", &token).await;
    bench.wait_s(900);
    let late = bench.post("/accounts/new", &token, "name=Zo+%3CLamp%3E&password=hush").await;
    assert_eq!(late.status, StatusCode::UNAUTHORIZED);
    assert!(late.text.contains("name=\"kept.name\" value=\"Zo &#60;Lamp&#62;\""), "{}", late.text);
    assert!(late.text.contains("name=\"kept_for\" value=\"1\"") && !late.text.contains("hush"));
    let password = PASSWORD.replace(' ', "+");
    let kept = "resend=/accounts/new&kept_for=1&kept.name=Zo+Lamp";
    let other = format!("login=governance&password={password}&{kept}");
    let other = bench.post("/login", &token, &other).await;
    assert!(other.status == StatusCode::SEE_OTHER && !other.text.contains("Zo Lamp"));
    let own = format!("login=administrator&password={password}&{kept}");
    let offered = bench.post("/login", &token, &own).await;
    let fresh = offered.cookie("matins").unwrap();
    assert!(
        offered.text.contains("action=\"/accounts/new\"")
            && offered.text.contains("name=\"name\" value=\"Zo Lamp\"")
    );
    assert!(offered.text.contains(&csrf(&fresh)));
}

/// What carries no proof that was given to somebody is not shown again, however large it is.
#[tokio::test(flavor = "multi_thread")]
async fn a_strangers_form_is_not_echoed() {
    let bench = bench().await;
    let got = bench.post("/people/new", &"f".repeat(64), &"a&".repeat(400)).await;
    assert_eq!(got.status, StatusCode::UNAUTHORIZED);
    assert!(!got.text.contains("kept."), "{}", got.text.len());
}

/// Tab A logs in anew; what was typed in tab B is not lost, and not done before it is said again.
#[tokio::test(flavor = "multi_thread")]
async fn r019_a_form_of_an_older_session_is_offered_again_to_the_same_person() {
    let bench = bench().await;
    bench.account(Role::Administrator).await;
    let old = bench.token(Role::Administrator).await;
    bench.get("/accounts/new", &old).await;
    let fields = format!("login=administrator&password={}", PASSWORD.replace(' ', "+"));
    let again = bench.post("/session/again", &old, &fields).await;
    assert_eq!(again.status, StatusCode::OK, "{}", again.text);
    let fresh = again.cookie("matins").unwrap();
    assert!(
        bench.get("/accounts", &old).await.header("location").starts_with("/login"),
        "it ended"
    );
    let typed = format!("csrf={}&name=Zo+Lamp&login=zo&role=desk&password=hush", csrf(&old));
    let got = bench.send(post("/accounts/new", &fresh, &typed)).await;
    assert_eq!(got.status, StatusCode::FORBIDDEN);
    assert!(
        got.text.contains("value=\"Zo Lamp\"") && got.text.contains(&csrf(&fresh)),
        "{}",
        got.text
    );
    assert!(!got.text.contains("hush"));
    assert_eq!(bench.store.accounts().await.unwrap().len(), 1, "nothing is done yet");
    // The login over tab B has an old proof too; its Origin and the password are enough.
    let again = format!("csrf={}&{fields}", csrf(&old));
    assert_eq!(bench.send(post("/session/again", &fresh, &again)).await.status, StatusCode::OK);
    // With a proof nobody was given it is refused, and nothing of it is shown.
    let foreign = "csrf=0000&name=Zo+Lamp&login=zo&role=desk";
    let token = bench.token(Role::Administrator).await;
    let got = bench.send(post("/accounts/new", &token, foreign)).await;
    assert!(got.status == StatusCode::FORBIDDEN && !got.text.contains("Zo Lamp"));
}

/// A link for a physician that one administrator made does nothing; governance says that it is right, with their
/// password; its owner is told at the next log-in.
#[tokio::test(flavor = "multi_thread")]
async fn a_link_for_a_physician_wants_a_second_person_and_its_owner_is_told() {
    let bench = bench().await;
    for role in [Role::Administrator, Role::Governance, Role::Physician] {
        bench.account(role).await;
    }
    let keys = bench.token(Role::Administrator).await;
    let made = bench.post("/accounts/3/link", &keys, "").await.text;
    assert!(made.contains("It does not work yet."));
    let path = format!("/first/{}", made.split("/first/").nth(1).unwrap().get(..64).unwrap());
    let visitor = "9".repeat(64);
    assert!(bench.get(&path, &visitor).await.text.contains("waits for a second person"));
    let new = "new=nine+quiet+lanterns&repeat=nine+quiet+lanterns";
    assert!(bench.post(&path, &visitor, new).await.text.contains("waits for a second person"));
    let gov = bench.token(Role::Governance).await;
    assert!(bench.get("/links", &gov).await.text.contains("Bo physician"));
    assert!(bench.get("/links", &keys).await.text.contains("Somebody else must say"));
    let shown: store::record::tables::Account =
        bench.store.read().await.unwrap().get(3).await.unwrap();
    let said = |password: &str| {
        format!("seen={}&asked=yes&password={}", shown.act, password.replace(' ', "+"))
    };
    assert_eq!(
        bench.post("/links/3", &keys, &said(PASSWORD)).await.status,
        StatusCode::UNPROCESSABLE_ENTITY
    );
    assert_eq!(
        bench.post("/links/3", &gov, &said("not it")).await.status,
        StatusCode::UNPROCESSABLE_ENTITY
    );
    assert_eq!(bench.post("/links/3", &gov, &said(PASSWORD)).await.status, StatusCode::SEE_OTHER);
    let set = bench.post(&path, &visitor, new).await;
    assert_eq!(set.status, StatusCode::SEE_OTHER, "{}", set.text);
    let known = set.cookie("matins-known").unwrap();
    assert_eq!(known.len(), 64);
    let entered =
        bench.post("/login", &visitor, "login=physician&password=nine+quiet+lanterns").await;
    let token = entered.cookie("matins").unwrap();
    let page = bench.get("/nights", &token).await.text;
    assert!(page.contains("A link to your account was made by administrator"), "{page}");
}

/// The cookie a browser is known by outlives the log-out, is out of reach of scripts, and is no session.
#[tokio::test(flavor = "multi_thread")]
async fn a_browser_stays_known_after_logging_out() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let fields = format!("login=desk&password={}", PASSWORD.replace(' ', "+"));
    let done = bench.post("/login", &"b".repeat(64), &fields).await;
    let set = done.headers.get_all("set-cookie").iter().map(|value| value.to_str().unwrap());
    let set: Vec<&str> = set.filter(|set| set.starts_with("matins-known=")).collect();
    assert!(
        set[0].contains("HttpOnly; SameSite=Strict") && set[0].contains("; Max-Age="),
        "{set:?}"
    );
    let known = done.cookie("matins-known").unwrap();
    assert_eq!(
        bench.get("/password", &known).await.status,
        StatusCode::SEE_OTHER,
        "it is no session"
    );
    let out = bench.post("/logout", &done.cookie("matins").unwrap(), "").await;
    assert!(
        !out.header("clear-site-data").contains("cookies") && out.cookie("matins-known").is_none()
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn an_attempt_beyond_ones_role_is_in_the_audit() {
    let bench = bench().await;
    bench.account(Role::Desk).await;
    let token = bench.token(Role::Desk).await;
    assert_eq!(bench.get("/audit", &token).await.status, StatusCode::FORBIDDEN);
    let act = bench.store.read().await.unwrap().last_act().await.unwrap().unwrap();
    assert_eq!(
        (act.who.as_str(), act.verb.as_str(), act.object.as_str()),
        ("desk", "access.refused", "/audit")
    );
}

/// In HTTP/2 the host stands in the address and there is no header of it.
#[tokio::test(flavor = "multi_thread")]
async fn a_form_over_http_2_is_held_to_the_same_origin() {
    let bench = bench_with(true).await;
    let token = "e".repeat(64);
    for (origin, status) in [
        ("https://desk.example", StatusCode::UNPROCESSABLE_ENTITY),
        ("https://evil.example", StatusCode::FORBIDDEN),
    ] {
        let request = Request::post("https://desk.example/login")
            .header("origin", origin)
            .header("cookie", format!("__Host-matins-visitor={token}"))
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(format!("csrf={}&login=nobody&password=nothing", csrf(&token))))
            .unwrap();
        assert_eq!(bench.send(request).await.status, status, "{origin}");
    }
}
