//! The desk: what may ask, what is opened, and that a firing put together on it is the terminal's, byte for byte.

use std::process::Command;
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

/// The table of docs/field.md: what is tried, the answer, the first line, the fields; HOST, COOKIE and OWN are as a browser
/// sends them from the page itself.
const ATTACKS: &str = "
wrong token                 | 403 | GET /?token=0123456789abcdef0123456789abcdef | HOST
no cookie                   | 403 | GET /                                | HOST
another port's cookie       | 403 | GET /                                | HOST; Cookie: burnwright-1=0
foreign origin              | 403 | POST /run                            | HOST; COOKIE; Origin: http://127.0.0.1:1
no origin                   | 403 | POST /run                            | HOST; COOKIE
null origin, as of a report | 403 | POST /run                            | HOST; COOKIE; Origin: null
led here by a site          | 403 | GET /part                            | HOST; COOKIE; Sec-Fetch-Site: cross-site
rebound name                | 421 | GET /                                | Host: evil.example:PORT; COOKIE
two names                   | 421 | GET /                                | HOST; Host: evil.example; COOKIE
traversal                   | 404 | GET /reduced/../firing.toml          | HOST; COOKIE
hidden traversal            | 404 | GET /reduced/%2e%2e%2ffiring.toml    | HOST; COOKIE
an own file                 | 404 | GET /stand.csv                       | HOST; COOKIE
name that leads out         | 400 | POST /drop/..%2Fx.csv                | HOST; COOKIE; OWN
hidden name                 | 400 | POST /drop/.profile                  | HOST; COOKIE; OWN
huge                        | 413 | POST /drop/x.csv                     | HOST; COOKIE; OWN; Content-Length: 900000000
in pieces                   | 400 | POST /drop/x.csv                     | HOST; COOKIE; OWN; Transfer-Encoding: chunked
no length                   | 400 | POST /drop/x.csv                     | HOST; COOKIE; OWN; Content-Length: -1
long head                   | 431 | GET /                                | HOST; COOKIE; X: LONG
another method              | 400 | PUT /drop/x.csv                      | HOST; COOKIE; OWN
no HTTP                     | 400 |                                      |
";

#[test]
fn every_attack_is_answered() {
    let (folder, served) = with_log();
    let begun = folder.read("d/firing.toml");
    let (port, long) = (served.port.to_string(), "a".repeat(40_000));
    let ask = |line: &str, fields: &str| {
        let mut request = format!(
            "{line} HTTP/1.1\r\n{}\r\n\r\n",
            fields.replace("; ", "\r\n")
        );
        for (word, stands_for) in [
            ("HOST", "Host: 127.0.0.1:PORT"),
            ("COOKIE", &format!("Cookie: {}", served.cookie)),
            ("OWN", "Origin: http://127.0.0.1:PORT"),
            ("PORT", &port),
            ("LONG", &long),
        ] {
            request = request.replace(word, stands_for);
        }
        served.raw(request.as_bytes())
    };
    for attack in ATTACKS.lines().filter(|line| !line.is_empty()) {
        let parts: Vec<&str> = attack.split('|').map(str::trim).collect();
        let answer = ask(parts[2], parts[3]);
        assert_eq!(answer.status.to_string(), parts[1], "{attack}: {answer:?}");
        assert!(!answer.body.contains("t_us"), "{attack}: {}", answer.body);
    }
    assert_eq!(folder.files_in("d"), ["firing.toml", "stand.csv"]);
    assert_eq!(folder.read("d/firing.toml"), begun);
    // The same request from its own page is answered, and says what the page may do.
    let page = served.get("/");
    let policy = page.head.contains("default-src 'none'") && page.head.contains("no-store");
    assert!(page.status == 200 && policy, "{}", page.head);
    let first = ask(
        &format!("GET /?{}", served.address.split_once('?').unwrap().1),
        "HOST",
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
        let says = "opens files of its own folder alone";
        assert!(
            answer.status == 400 && answer.body.contains(says),
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
    let mut lines = terminal.lines();
    let message = lines.find(|line| line.contains("sideways")).unwrap();
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
    assert!(!served.get("/part").body.contains("id=\"form\""));
    assert_eq!(folder.read("outside.toml"), text);
}

#[test]
fn a_second_desk_and_a_taken_port_are_told_plainly() {
    let folder = Folder::new();
    let served = desk(&folder);
    let second = folder.run(&["desk", "d", "--no-browser"]);
    let open = "another desk is open on this folder";
    assert!(second.stderr.contains(open), "{}", second.stderr);
    let port = served.port.to_string();
    let taken = folder.run(&["desk", "e", "--no-browser", "--http-port", &port]);
    assert!(taken.stderr.contains(" is taken: "), "{}", taken.stderr);
    assert_eq!((second.code, taken.code), (1, 1));
}

#[cfg(unix)]
#[test]
fn calibrate_compare_and_tune_give_the_bytes_of_the_terminal_or_say_what_they_need() {
    let (_folder, served) = with_log();
    let page = served.get("/part").body;
    for why in [
        "needs a points file",
        "needs a second firing",
        "needs a plant",
    ] {
        assert!(page.contains(why), "{why}: {page}");
    }
    let folder = Folder::copy_of("demo-data/twin-captive").and("demo-data/twin-one-dead");
    let twin = "demo-data/twin-captive";
    let served = Served::start(&folder, &["desk", twin]);
    for (command, written) in [
        ("burnwright reduce", "reduced/plant.json"),
        (
            "burnwright calibrate cell-base-points.csv --latitude \"52.1 deg\" --altitude \"40 m\" --masses \"0.02 %\"",
            "cell-base-points.toml",
        ),
        (
            "burnwright compare firing.toml ../twin-one-dead/firing.toml",
            "compared/compare.html",
        ),
        ("burnwright tune reduced/plant.json", "reduced/gains.html"),
    ] {
        let change = json!({ "revision": revision(&served.get("/part").body), "value": command });
        let begun = served.post("/run", &change.to_string());
        assert_eq!(begun.status, 200, "{command}: {begun:?}");
        let mut page = begun.body;
        let until = Instant::now() + Duration::from_secs(300);
        while page.contains("data-busy") && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(50));
            page = served.get("/part").body;
        }
        let file = format!("{twin}/{written}");
        let ours = folder.read(&file);
        if written.ends_with(".html") {
            assert_eq!(served.get(&format!("/{written}")).body, ours);
            assert!(page.contains(&format!("href=\"/{written}\"")), "{page}");
        }
        std::fs::remove_file(folder.path(&file)).unwrap();
        let typed = command.replacen("burnwright", env!("CARGO_BIN_EXE_burnwright"), 1);
        let mut shell = Command::new("sh");
        shell.args(["-c", &typed]).current_dir(folder.path(twin));
        assert!(shell.output().unwrap().status.success(), "{typed}");
        assert!(
            folder.read(&file) == ours,
            "{written} is not that of {command}"
        );
    }
    // What is not on the list is not run.
    let change =
        json!({ "revision": revision(&served.get("/part").body), "value": "burnwright desk x" });
    assert_eq!(served.post("/run", &change.to_string()).status, 400);
}

/// Drops files on the page as a hand does.
fn drop_files(page: &Page, names: &[&str]) {
    // On a busy machine the page is there before its script has run.
    page.wait("typeof queue !== 'undefined'");
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
        page.wait(&format!(
            "document.querySelector('.files')?.textContent.includes({name})"
        ));
    }
}

fn choose(page: &Page, id: &str, value: &str) {
    let value = json!(value);
    page.value(&format!(
        "(() => {{
            const field = document.getElementById('{id}');
            field.focus();
            field.value = {value};
            for (const kind of ['input', 'change']) field.dispatchEvent(new Event(kind, {{ bubbles: true }}));
        }})()"
    ));
    page.wait(&format!(
        "document.getElementById('text').value.includes({value})"
    ));
}

#[test]
fn the_demo_is_dropped_completed_and_reduced_to_the_bytes_of_the_terminal() {
    let Some(page) = Page::blank(1280, 900) else {
        return;
    };
    let folder = Folder::new();
    let curves = repository().join("motor-curves").display().to_string();
    let served = Served::start(&folder, &["desk", "d", "--motors", &curves]);
    page.tab.navigate_to(&served.address).unwrap();
    page.wait("document.getElementById('pick')");
    drop_files(
        &page,
        &["stand.csv", "cell-base-points.csv", "computer.csv"],
    );
    let seen = page.text("document.getElementById('main').innerText");
    assert!(
        seen.contains("looks like a burn from 2.523 s to 4.640 s"),
        "{seen}"
    );
    choose(&page, "f-cell-base-points", "cell-base-points.csv");
    choose(&page, "f-stand-mount", "nozzle-down");
    choose(&page, "f-motor-one-certified", "finch-24.toml");
    page.value("document.querySelector('[data-post=\"/copy\"]').click()");
    page.wait("document.getElementById('text').value.includes('[motor.two]')");
    page.wait("!document.getElementById('problems')");
    for width in [1280, 390] {
        page.size(width, 900);
        assert!(page.number("document.documentElement.scrollWidth") <= f64::from(width));
        let faint = page.value(crate::chromium::TOO_FAINT);
        assert_eq!(faint["out"], json!([]), "{faint}");
    }
    page.value("document.getElementById('run-0').click()");
    page.wait("document.querySelector('.verdict')");
    let verdict = page.text("document.querySelector('.verdict').textContent");
    assert!(
        verdict.starts_with("Both motors lit. Total impulse 59.4"),
        "{verdict}"
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
    let links = std::fs::read_dir(format!("/proc/{process}/fd")).unwrap();
    let links = links.flatten();
    let names = links.filter_map(|link| std::fs::read_link(link.path()).ok());
    let names: Vec<String> = names.map(|name| name.display().to_string()).collect();
    assert!(names.iter().any(|name| name.starts_with("socket:[")));
    for table in ["tcp", "tcp6", "udp", "udp6", "raw"] {
        let table_of = format!("/proc/{process}/net/{table}");
        let text = std::fs::read_to_string(table_of).unwrap_or_default();
        for line in text.lines().skip(1) {
            let cells: Vec<&str> = line.split_whitespace().collect();
            let near = cells[1].starts_with("0100007F:");
            let far = cells[2].starts_with("0100007F:") || cells[2] == "00000000:0000";
            let ours = names.contains(&format!("socket:[{}]", cells[9]));
            assert!(!ours || table == "tcp" && near && far, "{line}");
        }
    }
}
