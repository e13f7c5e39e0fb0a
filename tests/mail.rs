//! The report by mail: against a server on loopback, and read back by another parser.

#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]

#[path = "mail/run_folder.rs"]
mod run_folder;
#[path = "mail/smtp_server.rs"]
mod smtp_server;

use std::fs;
use std::time::Duration;

use clampbook::audit::counts::VerdictCounts;
use clampbook::cli::mail::{MailArgs, run_with};
use clampbook::report::mail::body::{BODY, WITHIN};
use clampbook::report::mail::{Digest, Patience, Report, Server, compose, mailbox, send};
use clampbook::report::summary::MissingCell;
use clampbook::tables::policy::Mail;
use mail_parser::{Message, MessageParser, MessagePart, MimeHeaders};

use run_folder::{RunFolder, policy, workbook, workbook_of};
use smtp_server::{Behaviour, Drop, Security, SmtpServer, base64};

const PACE: Patience = Patience {
    tries: 3,
    first_wait: Duration::from_millis(5),
    timeout: Duration::from_secs(10),
    message_timeout: Duration::from_secs(10),
    deadline: Duration::from_secs(20),
};

struct Told {
    result: Result<u8, String>,
    out: String,
}

fn run(folder: &RunFolder, args: &MailArgs, mail: &Mail, password: Option<&str>) -> Told {
    let mut out = Vec::new();
    let result = run_with(args, mail, folder.path(), password, &PACE, &mut out);
    // The whole chain, as the user sees it.
    Told { result: result.map_err(|error| format!("{error:#}")), out: String::from_utf8(out).unwrap() }
}

/// Fails unless it was refused with this sentence, nothing was received and nothing noted.
fn assert_not_sent(folder: &RunFolder, server: &SmtpServer, told: &Told, expected: &str) {
    let sentence = told.result.as_ref().unwrap_err();
    assert!(sentence.contains(expected), "{sentence}");
    assert!(!sentence.contains(['\r', '\n']) && sentence.ends_with('.'), "{sentence}");
    assert!(server.seen(|seen| seen.received.is_empty()));
    assert!(!folder.journal().exists());
    assert!(!told.out.contains("Sent"), "{}", told.out);
}

fn with_root(folder: &RunFolder, server: &SmtpServer, security: &str) -> Mail {
    fs::write(folder.path().join("root.pem"), &server.root).unwrap();
    Mail { ca_file: "root.pem".to_owned(), ..policy(server.port, security) }
}

#[test]
fn a_report_arrives_whole_on_every_kind_of_line() {
    for (security, word) in [(Security::None, "none"), (Security::StartTls, "starttls"), (Security::Tls, "tls")] {
        let folder = RunFolder::new();
        let (account, user) = match security {
            Security::None => (None, String::new()),
            _ => (Some(("audit", "correct horse")), "audit".to_owned()),
        };
        let server = SmtpServer::start(Behaviour { security, account, ..Behaviour::default() });
        let mail = Mail { user, ..with_root(&folder, &server, word) };
        let args = folder.args(&["boss@example.com", "Plant <plant@example.com>"]);
        let told = run(&folder, &args, &mail, Some("correct horse"));
        assert_eq!(told.result, Ok(0), "{word}");
        assert_eq!(told.out, "Sent to boss@example.com, plant@example.com (250 2.0.0 queued as 42).\n");
        let received = server.seen(|seen| seen.received.clone());
        assert_eq!(received.len(), 1);
        assert_eq!(received[0].from, "audit@example.com");
        assert_eq!(received[0].to, ["boss@example.com", "plant@example.com"]);
        let message = MessageParser::default().parse(&received[0].data).unwrap();
        assert_eq!(attached(&message, "report.xlsx").contents(), workbook());
        let journal = fs::read_to_string(folder.journal()).unwrap();
        assert!(journal.contains("plant@example.com") && journal.contains(message.message_id().unwrap()));
    }
}

#[test]
fn nothing_but_the_greeting_crosses_a_line_that_will_be_encrypted() {
    let folder = RunFolder::new();
    let account = Some(("audit", "correct horse"));
    let server = SmtpServer::start(Behaviour { security: Security::StartTls, account, ..Behaviour::default() });
    let mail = Mail { user: "audit".to_owned(), ..with_root(&folder, &server, "starttls") };
    assert_eq!(run(&folder, &folder.args(&["boss@example.com"]), &mail, Some("correct horse")).result, Ok(0));
    server.seen(|seen| {
        let verbs: Vec<&str> = seen.in_the_clear.iter().filter_map(|line| line.split(' ').next()).collect();
        assert_eq!(verbs, ["EHLO", "STARTTLS"]);
        assert!(seen.under_tls.iter().any(|line| line.starts_with("AUTH")));
    });
}

#[test]
fn a_server_without_starttls_gets_neither_password_nor_mail() {
    let folder = RunFolder::new();
    let account = Some(("audit", "correct horse"));
    let offers_starttls = false;
    let server =
        SmtpServer::start(Behaviour { security: Security::StartTls, offers_starttls, account, ..Behaviour::default() });
    let mail = Mail { user: "audit".to_owned(), ..with_root(&folder, &server, "starttls") };
    let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, Some("correct horse"));
    assert_not_sent(&folder, &server, &told, "offers no STARTTLS");
    assert!(server.seen(|seen| seen.in_the_clear.iter().all(|line| !line.starts_with("AUTH"))));
}

#[test]
fn a_certificate_that_no_one_vouches_for_is_refused_at_once() {
    for (security, word) in [(Security::StartTls, "starttls"), (Security::Tls, "tls")] {
        let folder = RunFolder::new();
        let server = SmtpServer::start(Behaviour { security, ..Behaviour::default() });
        let told = run(&folder, &folder.args(&["boss@example.com"]), &policy(server.port, word), None);
        assert_not_sent(&folder, &server, &told, "certificate is not trusted (UnknownIssuer)");
        assert_eq!(server.seen(|seen| seen.connections), 1);
    }
}

#[test]
fn a_certificate_for_another_host_is_refused() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour { security: Security::Tls, ..Behaviour::default() });
    let mail = Mail { host: "127.0.0.1".to_owned(), ..with_root(&folder, &server, "tls") };
    let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, None);
    assert_not_sent(&folder, &server, &told, "certificate is not trusted");
}

#[test]
fn tls_to_a_port_without_it_is_said() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let told = run(&folder, &folder.args(&["boss@example.com"]), &policy(server.port, "tls"), None);
    assert_not_sent(&folder, &server, &told, "does not speak TLS on this port");
}

#[test]
fn a_wrong_password_is_not_tried_again() {
    for (security, word) in [(Security::StartTls, "starttls"), (Security::Tls, "tls")] {
        let folder = RunFolder::new();
        let account = Some(("audit", "correct horse"));
        let server = SmtpServer::start(Behaviour { security, account, ..Behaviour::default() });
        let mail = Mail { user: "audit".to_owned(), ..with_root(&folder, &server, word) };
        let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, Some("battery staple"));
        assert_not_sent(&folder, &server, &told, "refused the user 'audit' or the password (535 5.7.8 wrong user");
        assert_eq!(server.seen(|seen| seen.connections), 1);
        let sentence = told.result.unwrap_err();
        assert!(!sentence.contains("battery") && !sentence.contains(&base64(b"\0audit\0battery staple")), "{sentence}");
        let missing = run(&folder, &folder.args(&["boss@example.com"]), &mail, None);
        assert_not_sent(&folder, &server, &missing, "CLAMPBOOK_MAIL_PASSWORD holds no password");
    }
}

#[test]
fn one_refused_recipient_and_nobody_gets_it() {
    let folder = RunFolder::new();
    let refused = vec![("gone@example.com", "550 5.1.1 no such user")];
    let server = SmtpServer::start(Behaviour { refused, ..Behaviour::default() });
    let args = folder.args(&["boss@example.com", "gone@example.com", "plant@example.com"]);
    let told = run(&folder, &args, &policy(server.port, "none"), None);
    let expected = "refused the recipient gone@example.com (550 5.1.1 no such user). Nothing was sent to anyone.";
    assert_not_sent(&folder, &server, &told, expected);
    assert_eq!(server.seen(|seen| seen.connections), 1);
    assert!(server.seen(|seen| seen.in_the_clear.iter().all(|line| line != "DATA")));
}

#[test]
fn a_recipient_that_may_be_taken_later_is_tried_again() {
    let folder = RunFolder::new();
    let refused = vec![("boss@example.com", "450 4.2.0 come back in a minute")];
    let server = SmtpServer::start(Behaviour { refused, ..Behaviour::default() });
    let told = run(&folder, &folder.args(&["boss@example.com"]), &policy(server.port, "none"), None);
    assert_not_sent(&folder, &server, &told, "450 4.2.0 come back in a minute");
    assert_eq!(server.seen(|seen| seen.connections), 3);
    assert!(told.result.unwrap_err().ends_with("It was tried 3 times."));
}

#[test]
fn a_line_dropped_mid_data_never_counts_as_sent() {
    for drop in [Drop::MidData(1), Drop::MidData(5_000), Drop::MidData(300_000), Drop::BeforeConfirming] {
        for (security, word) in [(Security::None, "none"), (Security::StartTls, "starttls"), (Security::Tls, "tls")] {
            let folder = RunFolder::new();
            let server = SmtpServer::start(Behaviour { security, drop: Some(drop), ..Behaviour::default() });
            let mail = with_root(&folder, &server, word);
            let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, None);
            let expected = "the line broke before the server had confirmed the message. The message does not count as \
                            sent. It was tried 3 times.";
            assert_not_sent(&folder, &server, &told, expected);
            assert_eq!(server.seen(|seen| seen.connections), 3, "{drop:?} {word}");
        }
    }
}

#[test]
fn a_server_that_recovers_gets_the_mail_once() {
    let dropped = Behaviour { drop: Some(Drop::MidData(5_000)), drops: 1, ..Behaviour::default() };
    for behaviour in [Behaviour { busy: 2, ..Behaviour::default() }, dropped] {
        let folder = RunFolder::new();
        let server = SmtpServer::start(behaviour);
        let told = run(&folder, &folder.args(&["boss@example.com"]), &policy(server.port, "none"), None);
        assert_eq!(told.result, Ok(0));
        assert!(
            told.out.contains("The next try is in") && told.out.contains("Sent to boss@example.com"),
            "{}",
            told.out
        );
        assert_eq!(server.seen(|seen| seen.received.len()), 1);
    }
}

#[test]
fn no_server_at_all_is_said_after_the_tries() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let free_port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let told = run(&folder, &folder.args(&["boss@example.com"]), &policy(free_port, "none"), None);
    assert_not_sent(&folder, &server, &told, "can't be reached (Connection refused");
    assert!(told.result.unwrap_err().ends_with("It was tried 3 times."));
}

#[test]
fn the_waits_grow_and_come_to_an_end() {
    let folder = RunFolder::new();
    let from = mailbox("from", "audit@example.com").unwrap();
    let to = [mailbox("--to", "boss@example.com").unwrap()];
    let (digest, report) = (Digest::load(&folder.data()).unwrap(), Report::load(&folder.report()).unwrap());
    let message = compose(&digest, &report, &from, &to, std::time::SystemTime::now()).unwrap();
    let busy = SmtpServer::start(Behaviour { busy: usize::MAX, ..Behaviour::default() });
    let server = Server::of(&policy(busy.port, "none"), None, folder.path()).unwrap();
    let mut waits = Vec::new();
    let pace = Patience { tries: 4, ..PACE };
    let error = send(&message, &server, &pace, &mut |_, pause| waits.push(pause.as_millis())).unwrap_err();
    assert_eq!(waits, [5, 15, 45]);
    let sentence = error.to_string();
    assert!(sentence.contains("takes no mail now (421 localhost busy, come back later)"), "{sentence}");
    assert!(sentence.ends_with("It was tried 4 times."));
    assert_eq!(busy.seen(|seen| seen.connections), 4);
}

#[test]
fn a_line_without_tls_leads_to_this_machine_only() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    // RFC 5737: an address of documentation, no one's.
    let mail = Mail { host: "192.0.2.1".to_owned(), ..policy(25, "none") };
    let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, None);
    assert_not_sent(&folder, &server, &told, "is for a server on this machine only");
}

#[test]
fn what_the_policy_lacks_is_said() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let usual = policy(server.port, "none");
    let cases = [
        (Mail { host: String::new(), ..usual.clone() }, "host is missing"),
        (Mail { from: String::new(), ..usual.clone() }, "A message needs a sender"),
        (Mail { security: "ssl".to_owned(), ..usual.clone() }, "security is 'ssl'"),
        (Mail { security: "tls".to_owned(), ca_file: "none.pem".to_owned(), ..usual.clone() }, "ca_file"),
        (
            Mail { security: "tls".to_owned(), ca_file: "report.xlsx".to_owned(), ..usual.clone() },
            "no certificate in PEM",
        ),
    ];
    for (mail, expected) in cases {
        assert_not_sent(&folder, &server, &run(&folder, &folder.args(&["boss@example.com"]), &mail, None), expected);
    }
}

#[test]
fn the_same_report_goes_to_the_same_address_once() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let mail = policy(server.port, "none");
    let boss = folder.args(&["boss@example.com"]);
    assert_eq!(run(&folder, &boss, &mail, None).result, Ok(0));
    let both = folder.args(&["plant@example.com", "Boss@Example.com"]);
    let sentence = run(&folder, &both, &mail, None).result.unwrap_err();
    assert!(
        sentence.starts_with("Boss@Example.com got this report on 20") && sentence.contains("--again"),
        "{sentence}"
    );
    assert_eq!(run(&folder, &folder.args(&["plant@example.com"]), &mail, None).result, Ok(0));
    assert_eq!(server.seen(|seen| seen.received.len()), 2);
    assert_eq!(run(&folder, &MailArgs { again: true, ..boss.clone() }, &mail, None).result, Ok(0));
    fs::write(folder.report(), workbook_of(run_folder::RUN, 100)).unwrap();
    assert_eq!(run(&folder, &boss, &mail, None).result, Ok(0));
    let ids: std::collections::BTreeSet<String> = server.seen(|seen| {
        let parsed = seen.received.iter().map(|mail| MessageParser::default().parse(&mail.data).unwrap());
        parsed.map(|message| message.message_id().unwrap().to_owned()).collect()
    });
    assert_eq!(ids.len(), 4);
}

#[test]
fn a_journal_that_can_not_be_read_stops_the_mail() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let mail = policy(server.port, "none");
    fs::write(folder.journal(), "{half").unwrap();
    let args = folder.args(&["boss@example.com"]);
    let sentence = run(&folder, &args, &mail, None).result.unwrap_err();
    assert!(sentence.contains("report.xlsx.sent.json: it can't be read"), "{sentence}");
    assert_eq!(fs::read_to_string(folder.journal()).unwrap(), "{half");
    assert_eq!(server.seen(|seen| seen.connections), 0);
    assert_eq!(run(&folder, &MailArgs { again: true, ..args }, &mail, None).result, Ok(0));
}

fn title(code: &str) -> &'static str {
    clampbook::rules::catalogue::rule(code).unwrap().title
}

/// The message as written by `--eml`.
fn eml(folder: &RunFolder, args: &MailArgs, mail: &Mail) -> Vec<u8> {
    let path = folder.path().join("mail.eml");
    let told = run(folder, &MailArgs { eml: Some(path.clone()), ..args.clone() }, mail, None);
    assert_eq!(told.result, Ok(0));
    assert!(told.out.contains("Nothing was sent."));
    assert!(!folder.journal().exists());
    fs::read(path).unwrap()
}

#[test]
fn the_eml_reads_back_with_another_parser() {
    let folder = RunFolder::new();
    let bytes = eml(&folder, &folder.args(&["boss@example.com"]), &policy(25, "none"));
    let message = MessageParser::default().parse(&bytes).unwrap();
    assert_eq!(
        message.subject(),
        Some("Clamping audit 2026-11: 2 circuits unsafe in service (1 more), 1 decision: 325.00 EUR")
    );
    assert_eq!(message.from().unwrap().first().unwrap().name(), Some("Clamping audit"));
    assert_eq!(message.from().unwrap().first().unwrap().address(), Some("audit@example.com"));
    assert_eq!(message.to().unwrap().first().unwrap().address(), Some("boss@example.com"));
    assert!(message.date().unwrap().is_valid());
    assert!(message.message_id().unwrap().ends_with("@example.com"));
    assert_eq!(message.header_raw("Auto-Submitted").map(str::trim), Some("auto-generated"));
    assert_eq!((message.text_body_count(), message.html_body_count()), (1, 1));
    let attachment = attached(&message, "report.xlsx");
    assert_eq!(attachment.attachment_name(), Some("report.xlsx"));
    assert_eq!(attachment.contents(), workbook());
    // RFC 5322, 2.1.1: no line above 998 characters, and no bare CR or LF.
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.split("\r\n").all(|line| line.len() <= 998 && !line.contains(['\r', '\n'])));
}

fn attached<'a>(message: &'a Message<'a>, name: &str) -> &'a MessagePart<'a> {
    message.attachments().find(|part| part.attachment_name() == Some(name)).unwrap()
}

/// The picture of the trend, read by a decoder of others: one bit a pixel, so that there is nothing but black and white.
#[test]
fn the_picture_is_black_and_white_and_has_a_text_instead() {
    let folder = RunFolder::new();
    let bytes = eml(&folder, &folder.args(&["boss@example.com"]), &policy(25, "none"));
    let message = MessageParser::default().parse(&bytes).unwrap();
    let picture = message.attachments().find(|part| part.content_id() == Some("trend")).unwrap();
    assert_eq!(picture.content_type().unwrap().subtype(), Some("png"));
    let mut decoder = zune_png::PngDecoder::new(zune_png::zune_core::bytestream::ZCursor::new(picture.contents()));
    decoder.decode_headers().unwrap();
    assert_eq!(decoder.dimensions(), Some((640, 260)));
    // Of the header, behind name and size: bits of a pixel, and grey.
    assert_eq!(picture.contents()[24..26], [1, 0]);
    let pixels = decoder.decode_raw().unwrap();
    let black = pixels.len() - pixels.iter().map(|pixel| usize::from(*pixel != 0)).sum::<usize>();
    assert!(pixels.iter().all(|pixel| matches!(pixel, 0 | 255)));
    assert!(black > 1000 && black * 4 < pixels.len(), "{black} of {} are black", pixels.len());
    let words = "Trend since 2026-01-03 (12 runs, planned circuits too): majors 47 to 14, circuits that do not conform \
                 18 to 8, not assessed 1 to 0.";
    let plain = message.body_text(0).unwrap();
    assert!(plain.split_whitespace().collect::<Vec<_>>().join(" ").contains(words), "{plain}");
    assert!(
        message.body_html(0).unwrap().contains(&format!("<img src=\"cid:trend\" style=\"{WITHIN}\" alt=\"{words}\">"))
    );
    // Without a history there is no picture and no word of one.
    let mut summary = run_folder::summary();
    summary.history.clear();
    folder.write_summary(&summary);
    let bytes = eml(&folder, &folder.args(&["boss@example.com"]), &policy(25, "none"));
    let message = MessageParser::default().parse(&bytes).unwrap();
    assert!(!message.body_html(0).unwrap().contains("<img") && !message.body_text(0).unwrap().contains("Trend"));
}

#[test]
fn a_sender_is_enough_for_a_file_and_what_lacks_is_said_with_where_it_was_looked_for() {
    let folder = RunFolder::new();
    let args = MailArgs { eml: Some(folder.path().join("mail.eml")), ..folder.args(&["boss@example.com"]) };
    let sentence = run(&folder, &args, &Mail::default(), None).result.unwrap_err();
    assert!(sentence.starts_with("A message needs a sender. Say --from ADDRESS"), "{sentence}");
    for place in [folder.path().join("policy.toml"), folder.data().join("policy.toml")] {
        assert!(sentence.contains(place.to_str().unwrap()), "{sentence}");
    }
    let from = Some("Audit <audit@example.com>".to_owned());
    let told = run(&folder, &MailArgs { from, ..args.clone() }, &Mail::default(), None);
    assert_eq!(told.result, Ok(0));
    assert!(told.out.contains("no policy was found, looked for were"), "{}", told.out);
    fs::write(folder.path().join("policy.toml"), "").unwrap();
    let mail = Mail { from: "audit@example.com".to_owned(), ..Mail::default() };
    let told = run(&folder, &args, &mail, None);
    assert!(told.out.contains("the policy read is") && told.out.contains("policy.toml"), "{}", told.out);
}

#[test]
fn both_texts_tell_the_same_and_carry_no_colour() {
    let folder = RunFolder::new();
    let bytes = eml(&folder, &folder.args(&["boss@example.com"]), &policy(25, "none"));
    let message = MessageParser::default().parse(&bytes).unwrap();
    let (plain, html) = (message.body_text(0).unwrap(), message.body_html(0).unwrap());
    let unwrapped: Vec<&str> = plain.split_whitespace().collect();
    let unwrapped = unwrapped.join(" ");
    assert!(!unwrapped.contains("Expired on 2026-10-31. The circuit is no longer on the lists"), "{plain}");
    assert!(plain.lines().count() <= 40, "{plain}");
    // Each may run on in further rows.
    let first: Vec<&str> = plain.lines().filter(|row| !row.starts_with(' ')).take(3).collect();
    assert!(
        first[0].starts_with("Unsafe in service now")
            && first[1].starts_with("Since")
            && first[2].starts_with("Decide")
    );
    for expected in [
        "Unsafe in service now: 2 of 2 circuits (North 2).",
        "Since 2026-10-03: unsafe circuits: 1 more; 2 new majors, 2 standing, 1 cleared, 2 no longer looked for.",
        "Decide: 1 change on Remedies, 325.00 EUR, proved; offered for some findings of 1 unsafe circuit, for no finding of 1.",
        "1 of 2 standing majors on 1 circuit in service",
        "2 new majors",
        &format!("{}: North/P1/F1/1, side clamp, position C3, part 4711. Rated 250 bar, sees 310 bar.", title("P05")),
        &format!("{}: North P1 F2/1", title("H02")),
        "North/P1/F1/1: 4711 becomes 4712 (325.00 EUR).",
        "1 for a circuit no longer on the lists; 1 for a rule not assessed any more",
        "Expired on 2026-10-31.",
        "more on Changes",
        "Not assessed, so not passed: 1 circuit, South/P9/F1/1. Settles it: components.csv, row 90, leak.",
        "Trapped oil is stored energy.",
    ] {
        assert!(unwrapped.contains(expected), "{expected}\n{plain}");
        assert!(html.contains(expected), "{expected}\n{html}");
    }
    assert!(unwrapped.contains("A <reason> with ümlauts & \"quotes\""));
    assert!(html.contains("A &lt;reason&gt; with ümlauts &amp; &quot;quotes&quot;"));
    let lower = html.to_lowercase();
    // What is set of the page is set without a colour.
    assert_eq!(lower.matches("style").count(), 3, "{html}");
    assert!(html.contains("style=\"font-size:small\""), "{html}");
    assert!(html.contains(&format!("style=\"{BODY}\"")) && html.contains(&format!("style=\"{WITHIN}\"")), "{html}");
    for word in ["color", "background", "#", "rgb", "<font", "<a ", "src=\"http", "href"] {
        assert!(!lower.contains(word), "{word}\n{html}");
    }
}

#[test]
fn names_and_subjects_can_not_add_headers() {
    let evil = "x\r\nBcc: thief@example.com\r\n\r\nbody";
    let folder = RunFolder::new();
    let usual = policy(25, "none");
    for from in
        [evil.to_owned(), format!("{evil} <audit@example.com>"), "a@example.com\r\nBcc: t@example.com".to_owned()]
    {
        let mail = Mail { from, ..usual.clone() };
        let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, None);
        assert!(told.result.unwrap_err().contains("[mail] from: found"));
    }
    let told = run(&folder, &folder.args(&["boss@example.com\nBcc: thief@example.com"]), &usual, None);
    assert!(told.result.unwrap_err().starts_with("--to: found 'boss@example.com\\nBcc"));
    // A report whose name breaks the line, plants and dates that do.
    let mut args = folder.args(&["\"Doe, Jane\" <boss@example.com>"]);
    args.report = folder.path().join("re\r\nBcc: thief@example.com\"; x=\".xlsx");
    fs::write(&args.report, workbook()).unwrap();
    let mut summary = run_folder::summary();
    summary.plants = vec![evil.to_owned()];
    summary.tool = evil.to_owned();
    folder.write_summary(&summary);
    let bytes = eml(&folder, &args, &usual);
    let message = MessageParser::default().parse(&bytes).unwrap();
    assert!(message.bcc().is_none());
    assert_eq!(message.to().unwrap().iter().count(), 1);
    assert_eq!(attached(&message, "re__Bcc: thief@example.com\"; x=\".xlsx").contents(), workbook());
    let text = String::from_utf8(bytes).unwrap();
    assert!(text.split("\r\n").all(|line| !line.starts_with("Bcc")), "{text}");
    summary.date = format!("2026-11{evil}");
    folder.write_summary(&summary);
    let sentence = run(&folder, &args, &usual, None).result.unwrap_err();
    assert!(sentence.contains("its date is '2026-11x\\r\\nBcc"), "{sentence}");
}

#[test]
fn names_outside_ascii_arrive() {
    let folder = RunFolder::new();
    let mut args = folder.args(&["Jürgen Groß <boss@example.com>"]);
    args.report = folder.path().join("Prüfbericht März 2026 – Halle Süd und Halle Nord mit allen Vorrichtungen.xlsx");
    fs::write(&args.report, workbook()).unwrap();
    let bytes = eml(&folder, &args, &policy(25, "none"));
    assert!(bytes.is_ascii());
    let message = MessageParser::default().parse(&bytes).unwrap();
    assert_eq!(message.to().unwrap().first().unwrap().name(), Some("Jürgen Groß"));
    let name = "Prüfbericht März 2026 – Halle Süd und Halle Nord mit allen Vorrichtungen.xlsx";
    assert_eq!(attached(&message, name).contents(), workbook());
}

#[test]
fn files_of_different_runs_are_not_mailed() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let mail = policy(server.port, "none");
    let told = |folder: &RunFolder| run(folder, &folder.args(&["boss@example.com"]), &mail, None);
    let mut summary = run_folder::summary();
    summary.changes.new_majors = 5;
    folder.write_summary(&summary);
    assert_not_sent(
        &folder,
        &server,
        &told(&folder),
        "summary.json speaks of 5 new majors to tell of, findings.csv holds 2",
    );
    folder.write_summary(&run_folder::summary());
    fs::remove_file(folder.data().join("cleared.csv")).unwrap();
    assert_not_sent(&folder, &server, &told(&folder), "cleared.csv: there is no such file");
    let folder = RunFolder::new();
    let findings = folder.data().join("findings.csv");
    // As a kill between two renames leaves it: the counts agree, the bytes are another run's.
    let other = fs::read_to_string(&findings).unwrap().replace("310 bar", "260 bar");
    fs::write(&findings, other).unwrap();
    assert_not_sent(&folder, &server, &told(&folder), "findings.csv: the file is not of the run");
    let folder = RunFolder::new();
    fs::write(folder.report(), workbook_of("7766554433221100", 100)).unwrap();
    assert_not_sent(&folder, &server, &told(&folder), "this workbook and the data folder are of different runs");
    fs::write(folder.report(), "no workbook").unwrap();
    assert_not_sent(&folder, &server, &told(&folder), "this is not a workbook");
}

#[test]
fn an_eml_never_replaces_an_input() {
    let folder = RunFolder::new();
    fs::write(folder.path().join("policy.toml"), "[mail]\n").unwrap();
    fs::write(folder.path().join("root.pem"), "root").unwrap();
    fs::write(folder.journal(), "[]").unwrap();
    let mail = Mail { ca_file: "root.pem".to_owned(), ..policy(25, "none") };
    let inputs = ["policy.toml", "root.pem", "report.xlsx.sent.json"].map(|name| folder.path().join(name));
    for input in [folder.report(), folder.data().join("findings.csv")].into_iter().chain(inputs) {
        let before = fs::read(&input).unwrap();
        let args = MailArgs { eml: Some(input.clone()), replace: true, ..folder.args(&["boss@example.com"]) };
        let sentence = run(&folder, &args, &mail, None).result.unwrap_err();
        assert!(sentence.contains("this is the input"), "{sentence}");
        assert_eq!(fs::read(&input).unwrap(), before);
    }
}

#[test]
fn an_eml_replaces_only_an_eml_of_its_own_unasked() {
    let folder = RunFolder::new();
    let file = folder.path().join("note.eml");
    let mut args = MailArgs { eml: Some(file.clone()), ..folder.args(&["boss@example.com"]) };
    fs::write(&file, "From: me\n\nkept").unwrap();
    let sentence = run(&folder, &args, &policy(25, "none"), None).result.unwrap_err();
    assert!(sentence.contains("not written by clampbook") && sentence.contains("--replace"), "{sentence}");
    assert_eq!(fs::read_to_string(&file).unwrap(), "From: me\n\nkept");
    args.replace = true;
    assert_eq!(run(&folder, &args, &policy(25, "none"), None).result, Ok(0));
    args.replace = false;
    assert_eq!(run(&folder, &args, &policy(25, "none"), None).result, Ok(0));
}

/// The words of the mail's plain text, on one line, and its subject.
fn said(folder: &RunFolder) -> (String, String) {
    let bytes = eml(folder, &folder.args(&["boss@example.com"]), &policy(25, "none"));
    let message = MessageParser::default().parse(&bytes).unwrap();
    let text = message.body_text(0).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
    (message.subject().unwrap().to_owned(), text)
}

/// Nothing there is unsafe in service, and nothing is safe either: what is planned and fails has its rule and its name.
#[test]
fn a_plant_with_nothing_in_service_is_told_by_what_is_planned() {
    let folder = RunFolder::new();
    let mut summary = run_folder::summary();
    summary.circuits.by_minors = 1;
    summary.in_service = VerdictCounts::default();
    summary.reach_planned = std::mem::take(&mut summary.reach_in_service);
    summary.unsafe_in_service.clear();
    summary.earlier = None;
    summary.by_pallet.iter_mut().for_each(|pallet| pallet.in_service = VerdictCounts::default());
    folder.write_summary(&summary);
    let (subject, text) = said(&folder);
    assert_eq!(
        subject,
        "Clamping audit 2026-11: no circuit stated to be in service, of 3 planned 2 do not conform, 1 not assessed, 1 \
         decision: 325.00 EUR"
    );
    for expected in [
        "no circuit is stated to be in service; of 3 planned 2 do not conform (1 by majors, 1 by minors alone), 1 not assessed.",
        "Planned, 2 do not conform",
        &format!("{}: P1 F1/1", title("P05")),
        "offered for some findings of 1 planned circuit that does not conform, for no finding of 1.",
    ] {
        assert!(text.contains(expected), "{expected}\n{text}");
    }
    assert!(!text.contains("circuits in service unsafe") && !text.contains("unsafe circuits"), "{text}");
}

/// What makes no circuit safe is no decision: an obsolete part is told where more of it is to be bought, without its price.
/// The same change of two circuits is one decision, and what clears a major comes before what clears more minors.
#[test]
fn decisions_are_what_makes_circuits_safe() {
    let folder = RunFolder::new();
    let remedies = "change,part_from,part_to,setting,unit,plant,pallet,fixture,circuit,position,rules,cleared,price,currency,applied\n\
        part,4720,4721,,,North,P1,F2,1,C9,T01,3,40,EUR,\n\
        part,OLD-1,NEW-1,,,,,,,,B01,1,4720,EUR,\n\
        part,OLD-2,NEW-2,,,,,,,,B01,1,99,EUR,\n\
        part,4711,4712,,,North,P1,F1,1,C3,P05,1,100,EUR,\n\
        part,4711,4712,,,North,P1,F2,1,C3,P05,1,102.5,EUR,\n";
    fs::write(folder.data().join("remedies.csv"), remedies).unwrap();
    fs::write(folder.data().join("purchase.csv"), "part_no,needed\nOLD-1,0\nOLD-2,4\n4711,2\n").unwrap();
    folder.write_summary(&run_folder::summary());
    let (subject, text) = said(&folder);
    assert!(subject.ends_with(", 2 decisions: 242.50 EUR"), "{subject}");
    for expected in [
        "Decide: 2 decisions, 3 changes on Remedies, 242.50 EUR, each proved by itself",
        "1 obsolete part still to be bought, see Remedies.",
    ] {
        assert!(text.contains(expected), "{expected}\n{text}");
    }
    assert!(!text.contains("NEW-1") && !text.contains("NEW-2"), "{text}");
    let told: Vec<String> =
        Digest::load(&folder.data()).unwrap().decisions.first.into_iter().map(|decision| decision.change).collect();
    assert_eq!(
        told,
        [
            "North/P1/F1/1 and North/P1/F2/1: 4711 becomes 4712 (202.50 EUR)",
            "North/P1/F2/1: 4720 becomes 4721 (40.00 EUR)"
        ]
    );
    // Nothing is unsafe, and nothing is to be decided.
    let first_two: Vec<&str> = remedies.lines().take(1).chain(remedies.lines().skip(2).take(1)).collect();
    fs::write(folder.data().join("remedies.csv"), first_two.join("\n") + "\n").unwrap();
    folder.write_summary(&run_folder::summary());
    let (subject, text) = said(&folder);
    assert!(!subject.contains("decision") && text.contains("Decide: no proved change."), "{subject}\n{text}");
}

/// What the circuits not assessed wait for, and of whom nobody knows whether they are safe.
#[test]
fn what_is_to_be_stated_of_circuits_not_assessed_is_told_by_column() {
    let folder = RunFolder::new();
    let mut summary = run_folder::summary();
    summary.in_service = VerdictCounts { total: 30, does_not_conform: 2, not_assessed: 28, ..VerdictCounts::default() };
    summary.circuits.not_assessed = 28;
    summary.circuits.total = 3;
    let of =
        |cell: &str, verdicts| MissingCell { cell: cell.to_owned(), verdicts, circuits: 28, ..MissingCell::default() };
    summary.missing = vec![
        of("circuits.csv, hold_time, rows 2 to 29", 28),
        of("circuits.csv, temp_min, rows 2 to 29", 28),
        of("components.csv, row 9, leak", 0),
    ];
    folder.write_summary(&summary);
    let (subject, text) = said(&folder);
    assert!(subject.contains("2 circuits unsafe in service (1 more), 28 of 30 not assessed"), "{subject}");
    for expected in [
        "Unsafe in service now: 2 of 30 circuits (North 2); 28 more could not be assessed and may be.",
        "To be stated: circuits.csv, hold_time, rows 2 to 29 (28 of 28); circuits.csv, temp_min, rows 2 to 29 (28 of 28).",
    ] {
        assert!(text.contains(expected), "{expected}\n{text}");
    }
    assert!(!text.contains("row 9, leak"), "{text}");
}

/// One more may be two that came and one that went.
#[test]
fn circuits_that_came_and_went_are_named() {
    let folder = RunFolder::new();
    let mut summary = run_folder::summary();
    summary.earlier.as_mut().unwrap().unsafe_in_service = vec![run_folder::unsafe_circuit("F7")];
    folder.write_summary(&summary);
    let (_, text) = said(&folder);
    assert!(text.contains("(new North/P1/F1/1, North/P1/F2/1; no longer North/P1/F7/1)"), "{text}");
}

#[test]
fn a_plant_without_a_name_is_counted_and_minors_are_told_apart() {
    let folder = RunFolder::new();
    let mut summary = run_folder::summary();
    summary.in_service.by_minors = 1;
    let mut nameless = summary.by_pallet[0].clone();
    nameless.plant.clear();
    nameless.majors = 0;
    summary.by_pallet.insert(0, nameless);
    summary.buying = vec!["Purchasing: does not conform, 4 majors, 0 minors.".to_owned()];
    folder.write_summary(&summary);
    let (subject, text) = said(&folder);
    assert!(subject.contains("2 circuits unsafe in service (1 more), 1 of them by minors alone"), "{subject}");
    assert!(text.contains("2 of 2 circuits (not named 2, North 2), 1 by majors, 1 by minors alone."), "{text}");
    assert!(text.contains("not named 2 2 0 "), "the table: {text}");
    assert!(text.contains("Purchasing: does not conform, 4 majors, 0 minors."), "{text}");
}

/// A server that takes the line and then only sends what it is given, again and again.
fn endless(bytes: &'static [u8], pause: Duration) -> u16 {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        use std::io::Write;
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            while stream.write_all(bytes).is_ok() {
                std::thread::sleep(pause);
            }
        }
    });
    port
}

#[test]
fn a_server_without_end_is_left() {
    let cases = [
        (endless(&[b'x'; 4096], Duration::ZERO), "says more than a mail server may"),
        (endless(b"220-wait\r\n", Duration::from_millis(20)), "did not come to an end in time"),
    ];
    for (port, expected) in cases {
        let folder = RunFolder::new();
        let mail = policy(port, "none");
        let pace = Patience { deadline: Duration::from_millis(1500), ..PACE };
        let args = folder.args(&["boss@example.com"]);
        let sentence = run_with(&args, &mail, folder.path(), None, &pace, &mut Vec::new()).unwrap_err().to_string();
        assert!(sentence.contains(expected), "{sentence}");
        assert!(!folder.journal().exists(), "no server took it");
    }
}

#[test]
fn a_password_does_not_cross_an_open_line() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour { account: Some(("audit", "correct horse")), ..Behaviour::default() });
    let mail = Mail { user: "audit".to_owned(), ..policy(server.port, "none") };
    let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, Some("correct horse"));
    assert_not_sent(&folder, &server, &told, "user is given with security 'none'");
    assert_eq!(server.seen(|seen| seen.connections), 0);
}

#[test]
fn a_send_that_was_begun_and_never_ended_is_not_repeated_unasked() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let mail = policy(server.port, "none");
    let boss = folder.args(&["boss@example.com"]);
    assert_eq!(run(&folder, &boss, &mail, None).result, Ok(0));
    // What a run leaves that is killed between the server's answer and its own note.
    let journal = fs::read_to_string(folder.journal()).unwrap();
    assert!(journal.contains("\"sent\""), "{journal}");
    fs::write(folder.journal(), journal.replace("\"sent\"", "\"begun\"")).unwrap();
    let sentence = run(&folder, &boss, &mail, None).result.unwrap_err();
    assert!(sentence.contains("it may have arrived") && sentence.contains("--again"), "{sentence}");
    assert_eq!(server.seen(|seen| seen.received.len()), 1);
}

#[test]
fn two_runs_do_not_send_one_report_at_once() {
    let folder = RunFolder::new();
    let server = SmtpServer::start(Behaviour::default());
    let mail = policy(server.port, "none");
    let held = fs::File::open(folder.report()).unwrap();
    held.lock().unwrap();
    let told = run(&folder, &folder.args(&["boss@example.com"]), &mail, None);
    assert_not_sent(&folder, &server, &told, "another run is sending this report now");
    drop(held);
    assert_eq!(run(&folder, &folder.args(&["boss@example.com"]), &mail, None).result, Ok(0));
}
