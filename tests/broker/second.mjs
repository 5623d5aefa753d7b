// A broker in Node.js, for the tests: another implementation of MQTT than the one of the demo.
//
// What enters are the folder in which npm installed `aedes`, an address, a port or 0, and on standard input lines such as
// `TOPIC PAYLOAD` to publish; what leaves is the port on a line, then `subscribed ID`, and `published TOPIC` for what is not kept. It ends with its input.

import { createRequire } from "node:module";
import { createServer } from "node:net";
import { createInterface } from "node:readline";
import { pathToFileURL } from "node:url";

const [folder, host, port] = process.argv.slice(2);
const { Aedes } = await import(pathToFileURL(createRequire(folder + "/").resolve("aedes")));
const broker = await Aedes.createBroker();
broker.on("subscribe", (_, client) => client && console.log("subscribed", client.id));
broker.on("publish", (packet, client) => client && !packet.retain && console.log("published", packet.topic));

const server = createServer(broker.handle);
server.listen(Number(port), host, () => console.log(server.address().port));

createInterface({ input: process.stdin })
  .on("line", (line) => {
    const [topic, payload] = line.split(" ");
    broker.publish({ topic, payload, qos: 0, retain: false }, () => {});
  })
  .on("close", () => process.exit(0));
