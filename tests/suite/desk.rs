//! The desk: what may ask, what is opened, and that a firing put together on it is the terminal's, byte for byte.

use std::time::{Duration, Instant};

use serde_json::json;

use crate::chromium::Page;
use crate::runner::{Folder, repository};
use crate::served::Served;

fn desk(folder: &Folder) -> Served {
    Served::start(folder, &["desk", "d"])
}

fn demo_file(name: &str) -> String {
    std::fs::read_to_string(repository().join("demo-data/twin-captive").join(name)).unwrap()
}

/// A desk with the demo's log of the stand on it.
fn with_log() -> (Folder, Served) {
    let folder = Folder::new();
    let served = desk(&folder);
    let taken = served.post("/drop/stand.csv", &demo_file("stand.csv"));
    assert_eq!(taken.status, 200, "{}", taken.body);
    (folder, served)
}

fn revision(page: &str) -> String {
    let text = page.split("data-revision=\"").nth(1).unwrap();
    text.split('"').next().unwrap().to_owned()
}

/// The table of docs/field.md.
#[test]
fn every_attack_is_answered() {
    let (folder, served) = with_log();
    let begun = folder.read("d/firing.toml");
    let port = served.port;
    let host = format!("Host: 127.0.0.1:{port}\r\n");
    let (cookie, own) = (
        served.cookie(),
        format!("Origin: http://127.0.0.1:{port}\r\n"),
    );
    let long = "a".repeat(40_000);
    let of = |line: &str, fields: &str| format!("{line} HTTP/1.1\r\n{fields}\r\n");
    let attacks = [
        (
            "wrong token",
            of("GET /?token=0123456789abcdef0123456789abcdef", &host),
            403,
        ),
        ("no cookie", of("GET /", &host), 403),
        (
            "another port's cookie",
            of("GET /", &format!("{host}Cookie: burnwright-1=0\r\n")),
            403,
        ),
        (
            "foreign origin",
            of(
                "POST /reduce",
                &format!("{host}{cookie}Origin: http://127.0.0.1:1\r\n"),
            ),
            403,
        ),
        (
            "no origin",
            of("POST /reduce", &format!("{host}{cookie}")),
            403,
        ),
        (
            "null origin, as of a report",
            of("POST /reduce", &format!("{host}{cookie}Origin: null\r\n")),
            403,
        ),
        (
            "led here by a site",
            of(
                "GET /part",
                &format!("{host}{cookie}Sec-Fetch-Site: cross-site\r\n"),
            ),
            403,
        ),
        (
            "rebound name",
            of("GET /", &format!("Host: evil.example:{port}\r\n{cookie}")),
            421,
        ),
        (
            "two names",
            of("GET /", &format!("{host}Host: evil.example\r\n{cookie}")),
            421,
        ),
        (
            "traversal",
            of("GET /reduced/../firing.toml", &format!("{host}{cookie}")),
            404,
        ),
        (
            "hidden traversal",
            of(
                "GET /reduced/%2e%2e%2ffiring.toml",
                &format!("{host}{cookie}"),
            ),
            404,
        ),
        (
            "an own file",
            of("GET /stand.csv", &format!("{host}{cookie}")),
            404,
        ),
        (
            "name that leads out",
            of("POST /drop/..%2Fx.csv", &format!("{host}{cookie}{own}")),
            400,
        ),
        (
            "hidden name",
            of("POST /drop/.profile", &format!("{host}{cookie}{own}")),
            400,
        ),
        (
            "huge",
            of(
                "POST /drop/x.csv",
                &format!("{host}{cookie}{own}Content-Length: 900000000\r\n"),
            ),
            413,
        ),
        (
            "in pieces",
            of(
                "POST /drop/x.csv",
                &format!("{host}{cookie}{own}Transfer-Encoding: chunked\r\n"),
            ),
            400,
        ),
        (
            "no length",
            of(
                "POST /drop/x.csv",
                &format!("{host}{cookie}{own}Content-Length: -1\r\n"),
            ),
            400,
        ),
        (
            "long head",
            of("GET /", &format!("{host}{cookie}X: {long}\r\n")),
            431,
        ),
        (
            "another method",
            of("PUT /drop/x.csv", &format!("{host}{cookie}{own}")),
            400,
        ),
        ("no HTTP", "\r\n\r\n".to_owned(), 400),
    ];
    for (name, request, status) in attacks {
        let answer = served.raw(request.as_bytes());
        assert_eq!(answer.status, status, "{name}: {answer:?}");
        assert!(!answer.body.contains("t_us"), "{name}: {}", answer.body);
    }
    assert_eq!(folder.files_in("d"), ["firing.toml", "stand.csv"]);
    assert_eq!(folder.read("d/firing.toml"), begun);
    // The same request from its own page is answered, and says what the page may do.
    let page = served.get("/");
    assert_eq!(page.status, 200);
    assert!(
        page.head.contains("default-src 'none'") && page.head.contains("no-store"),
        "{}",
        page.head
    );
    let first = served.raw(
        of(
            &format!("GET /?{}", served.address.split_once('?').unwrap().1),
            &host,
        )
        .as_bytes(),
    );
    assert!(
        first.status == 200 && first.head.contains("HttpOnly; SameSite=Strict"),
        "{}",
        first.head
    );
}

#[test]
fn a_slow_request_is_let_go() {
    let served = desk(&Folder::new());
    let start = Instant::now();
    let answer = served.raw(b"GET / HTTP/1.1\r\nHost: 127");
    assert_eq!(answer.status, 408, "{answer:?}");
    assert!(start.elapsed() > Duration::from_secs(2) && start.elapsed() < Duration::from_secs(15));
    assert_eq!(served.get("/").status, 200);
}

#[test]
fn a_text_opens_nothing_outside_and_two_tabs_do_not_overwrite_each_other() {
    let (folder, served) = with_log();
    let old = revision(&served.get("/part").body);
    let begun = folder.read("d/firing.toml");
    let text = |revision: &str, value: &str| {
        served.post(
            "/text",
            &json!({ "revision": revision, "value": value }).to_string(),
        )
    };
    for path in ["/etc/hostname", "../secret.csv", "a/../../b", "\\\\host\\x"] {
        let answer = text(&old, &format!("[log.a]\nfile = '{path}'\n"));
        assert!(
            answer.status == 400 && answer.body.contains("opens files of its own folder alone"),
            "{answer:?}"
        );
    }
    let motor = served.post(
        "/drop/m.toml",
        "name = \"m\"\nthrust_file = \"../secret\"\n",
    );
    assert_eq!(motor.status, 400, "{motor:?}");
    // The first tab changes a value, the second still shows the old one.
    let set = |revision: &str, value: &str| {
        let change = json!({ "revision": revision, "at": "stand.mount", "value": value });
        served.post("/set", &change.to_string())
    };
    let first = set(&old, "level");
    assert_eq!(first.status, 200, "{first:?}");
    let expected = begun.replace("mount = \"??\"       #", "mount = \"level\"  #");
    assert_eq!(folder.read("d/firing.toml"), expected);
    assert_eq!(set(&old, "nozzle-up").status, 409);
    assert_eq!(folder.read("d/firing.toml"), expected);
    // What is wrong is told in the words that the terminal has.
    let wrong = set(&revision(&first.body), "sideways");
    let terminal = folder.run(&["reduce", "d/firing.toml"]).stderr;
    let message = terminal
        .lines()
        .find(|line| line.contains("sideways"))
        .unwrap();
    let told = message.trim_start_matches("error: ").replace('"', "&quot;");
    assert!(wrong.body.contains(&told), "{told}\n{}", wrong.body);
    // A file of another content under a name that is taken stays out.
    assert_eq!(served.post("/drop/stand.csv", "t,a\n1,2\n").status, 409);
    assert_eq!(folder.read("d/stand.csv"), demo_file("stand.csv"));
}

#[cfg(unix)]
#[test]
fn symbolic_links_are_not_followed() {
    let (folder, served) = with_log();
    let link = |from: &str, to: &str| {
        std::os::unix::fs::symlink(folder.path(from), folder.path(to)).unwrap();
    };
    let folder_with_secret =
        |name: &str| std::fs::write(folder.path(name), "ms,secret_raw\n1,2\n").unwrap();
    folder_with_secret("secret.csv");
    link("secret.csv", "d/link.csv");
    let page = served.get("/part");
    assert!(
        !page.body.contains("link.csv") && !page.body.contains("secret"),
        "{}",
        page.body
    );
    let change =
        json!({ "revision": revision(&page.body), "at": "log.stand.file", "value": "link.csv" });
    assert_eq!(served.post("/set", &change.to_string()).status, 400);
    assert_eq!(served.post("/drop/link.csv", "ms,a\n").status, 409);
    std::fs::create_dir(folder.path("elsewhere")).unwrap();
    std::fs::write(folder.path("elsewhere/report.html"), "secret").unwrap();
    link("elsewhere", "d/reduced");
    assert_eq!(served.get("/reduced/report.html").status, 404);
    let text = folder.read("d/firing.toml");
    std::fs::rename(folder.path("d/firing.toml"), folder.path("outside.toml")).unwrap();
    link("outside.toml", "d/firing.toml");
    assert!(!served.get("/part").body.contains("data-revision"));
    assert_eq!(folder.read("outside.toml"), text);
}

#[test]
fn a_second_desk_and_a_taken_port_are_told_plainly() {
    let folder = Folder::new();
    let served = desk(&folder);
    let second = folder.run(&["desk", "d", "--no-browser"]);
    assert!(
        second.code == 1
            && second
                .stderr
                .contains("another desk is open on this folder"),
        "{}",
        second.stderr
    );
    let taken = folder.run(&[
        "desk",
        "e",
        "--no-browser",
        "--http-port",
        &served.port.to_string(),
    ]);
    assert!(
        taken.code == 1 && taken.stderr.contains(" is taken: "),
        "{}",
        taken.stderr
    );
}

/// Drops files on the page as a hand does.
fn drop_files(page: &Page, names: &[&str]) {
    for name in names {
        let (text, name) = (json!(demo_file(name)), json!(name));
        page.value(&format!(
            "(async () => {{
                const data = new DataTransfer();
                data.items.add(new File([{text}], {name}));
                document.getElementById('drop').dispatchEvent(new DragEvent('drop', {{ dataTransfer: data, bubbles: true }}));
                await queue;
            }})()"
        ));
        wait(
            page,
            &format!("document.querySelector('.files')?.textContent.includes({name})"),
        );
    }
}

fn wait(page: &Page, expression: &str) {
    let until = Instant::now() + Duration::from_secs(300);
    while page.value(&format!("Boolean({expression})")) != json!(true) {
        assert!(
            Instant::now() < until,
            "{expression}\n{}",
            page.text("document.body.innerText")
        );
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn choose(page: &Page, id: &str, value: &str) {
    page.value(&format!(
        "(() => {{
            const field = document.getElementById('{id}');
            field.focus();
            field.value = {};
            for (const kind of ['input', 'change']) field.dispatchEvent(new Event(kind, {{ bubbles: true }}));
        }})()",
        json!(value)
    ));
    wait(
        page,
        &format!(
            "document.getElementById('text').value.includes({})",
            json!(value)
        ),
    );
}

#[test]
fn the_demo_is_dropped_completed_and_reduced_to_the_bytes_of_the_terminal() {
    let Some(page) = Page::blank(1280, 900) else {
        return;
    };
    let folder = Folder::new();
    let curves = repository().join("motor-curves");
    let served = Served::start(
        &folder,
        &["desk", "d", "--motors", &curves.display().to_string()],
    );
    page.tab.navigate_to(&served.address).unwrap();
    wait(&page, "document.getElementById('pick')");
    drop_files(
        &page,
        &["stand.csv", "cell-base-points.csv", "computer.csv"],
    );
    assert!(
        page.text("document.getElementById('main').innerText")
            .contains("looks like a burn from 2.523 s to 4.640 s")
    );
    choose(&page, "f-cell-base-points", "cell-base-points.csv");
    choose(&page, "f-stand-mount", "nozzle-down");
    choose(&page, "f-motor-one-certified", "finch-24.toml");
    page.value("document.querySelector('[data-post=\"/copy\"]').click()");
    wait(
        &page,
        "document.getElementById('text').value.includes('[motor.two]')",
    );
    assert_eq!(
        page.value("document.getElementById('problems')"),
        json!(null)
    );
    for width in [1280, 390] {
        page.size(width, 900);
        assert!(page.number("document.documentElement.scrollWidth") <= f64::from(width));
        let faint = page.value(crate::chromium::TOO_FAINT);
        assert_eq!(faint["out"], json!([]), "{faint}");
    }
    page.value("document.getElementById('reduce').click()");
    wait(&page, "document.querySelector('.verdict')");
    assert!(
        page.text("document.querySelector('.verdict').textContent")
            .starts_with("Both motors lit. Total impulse 59.4")
    );
    let run = folder.run(&["reduce", "d/firing.toml", "--out", "terminal"]);
    assert_eq!(run.code, 0, "{}", run.stderr);
    assert_eq!(
        folder.read("d/reduced/result.json"),
        folder.read("terminal/result.json")
    );
    let report = served.get("/reduced/report.html");
    assert!(
        report.status == 200 && report.head.contains("sandbox allow-scripts"),
        "{}",
        report.head
    );
    page.asked_only(&[&format!("http://127.0.0.1:{}/", served.port), "data:,"]);
    #[cfg(target_os = "linux")]
    no_connection_leads_out(served.child.id());
}

/// No socket of a process is anything but one of this machine's loopback address, by the tables of the kernel.
#[cfg(target_os = "linux")]
fn no_connection_leads_out(process: u32) {
    let links = std::fs::read_dir(format!("/proc/{process}/fd"))
        .unwrap()
        .flatten();
    let names = links.filter_map(|link| std::fs::read_link(link.path()).ok());
    let sockets: Vec<String> = names
        .filter_map(|name| {
            Some(
                name.to_str()?
                    .strip_prefix("socket:[")?
                    .trim_end_matches(']')
                    .to_owned(),
            )
        })
        .collect();
    assert!(!sockets.is_empty());
    for table in ["tcp", "tcp6", "udp", "udp6", "raw"] {
        let text =
            std::fs::read_to_string(format!("/proc/{process}/net/{table}")).unwrap_or_default();
        for line in text.lines().skip(1) {
            let cells: Vec<&str> = line.split_whitespace().collect();
            if sockets
                .iter()
                .any(|one| cells.get(9) == Some(&one.as_str()))
            {
                let far = cells[2];
                assert!(
                    table == "tcp" && (far.starts_with("0100007F:") || far == "00000000:0000"),
                    "{line}"
                );
                assert!(cells[1].starts_with("0100007F:"), "{line}");
            }
        }
    }
}
