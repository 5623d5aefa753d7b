//! A real browser: chromium through its driver, which this file starts on a port of its own. Where there is none, the tests say in words
//! that they are left out; with SIDELIGHT_BROWSER=required they fail then.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Instant;

use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

use super::kit::PATIENCE;

/// A browser with one page; ended with the test.
pub struct Browser {
    driver: Child,
    pub page: Client,
}

impl Browser {
    /// A browser whose window is so large, or none where there is no driver.
    pub async fn open(width: u32, height: u32, dark: bool) -> Option<Self> {
        let driver = Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let mut driver = match driver {
            Ok(driver) => driver,
            Err(problem) => {
                let required = std::env::var_os("SIDELIGHT_BROWSER").is_some_and(|value| value == "required");
                assert!(!required, "chromedriver cannot be started: {problem}");
                println!(
                    "LEFT OUT: chromedriver cannot be started ({problem}); install chromium-driver to run the tests of the page"
                );
                return None;
            }
        };
        let lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port: u16 = lines
            .map_while(Result::ok)
            .find_map(|line| line.split_once("started successfully on port ")?.1.trim_end_matches('.').parse().ok())
            .expect("the driver says on which port it listens");
        let scheme = if dark { 0 } else { 1 };
        let capabilities = json!({
            "goog:chromeOptions": {
                "args": [
                    "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--force-device-scale-factor=1",
                    format!("--window-size={width},{height}"), format!("--blink-settings=preferredColorScheme={scheme}"),
                ],
                // A window is never narrower than its own buttons; a page in it can be.
                "mobileEmulation": { "deviceMetrics": { "width": width, "height": height, "pixelRatio": 1.0, "touch": false, "mobile": false } },
            },
        });
        let Value::Object(capabilities) = capabilities else { unreachable!() };
        let page = ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .unwrap_or_else(|problem| panic!("the browser does not start: {problem}"));
        let browser = Self { driver, page };
        let seen = browser.run("return [innerWidth, matchMedia('(prefers-color-scheme: dark)').matches]", &[]).await;
        assert_eq!(seen, json!([width, dark]), "the browser is another than was asked for");
        Some(browser)
    }

    /// Opens a page and waits until it has heard everything.
    pub async fn go(&self, url: &str) {
        self.page.goto(url).await.unwrap();
        self.until("the page", "return document.documentElement.dataset.ready === 'yes'", &[]).await;
    }

    /// What a script returns.
    pub async fn run(&self, script: &str, arguments: &[Value]) -> Value {
        self.page.execute(script, arguments.to_vec()).await.unwrap_or_else(|problem| panic!("{script}: {problem}"))
    }

    /// Waits until a script returns true.
    pub async fn until(&self, what: &str, script: &str, arguments: &[Value]) {
        let start = Instant::now();
        while self.run(script, arguments).await != json!(true) {
            assert!(start.elapsed() < PATIENCE, "never came: {what}");
            tokio::time::sleep(std::time::Duration::from_millis(10)).await;
        }
    }

    pub async fn text(&self, id: &str) -> String {
        self.page.find(Locator::Id(id)).await.unwrap().text().await.unwrap()
    }

    pub async fn close(self) {
        self.page.clone().close().await.unwrap();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}
