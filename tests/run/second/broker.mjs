// A broker in Node.js, for the tests: another implementation of MQTT than the one of the demo.
//
// What enters are the folder in which npm installed `aedes`, an address, a port or 0, and on standard input lines such as
// `retain TOPIC PAYLOAD`; what leaves is the port on a line, then `client ID`, `gone ID` and `subscribed ID`. It ends with its input.

import { createRequire } from "node:module";
import { createServer } from "node:net";
import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const [folder, host, port] = process.argv.slice(2);
const { Aedes } = await import(pathToFileURL(createRequire(folder + "/").resolve("aedes")));
const broker = await Aedes.createBroker();
const tell = (word) => (client) => console.log(word, client.id);
broker.on("client", tell("client"));
broker.on("clientDisconnect", tell("gone"));
broker.on("subscribe", (_, client) => client && console.log("subscribed", client.id));

const server = createServer(broker.handle);
server.listen(Number(port), host, () => console.log(server.address().port));

createInterface({ input: process.stdin })
  .on("line", (line) => {
    const [word, topic, payload] = line.split(" ");
    broker.publish({ topic, payload, qos: 0, retain: word === "retain" }, () => {});
  })
  .on("close", () => process.exit(0));
