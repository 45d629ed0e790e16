// What somebody writes who has only the clients that openapi-fetch and hey-api make of the document; see node_test.go.
import createClient from "openapi-fetch";
import type { paths } from "./schema";
import { client } from "./hey/client.gen";
import * as hey from "./hey";

declare const process: { argv: string[]; exit(code: number): never };
const [site, bar, first, second] = process.argv.slice(2);

function must<T>(what: string, a: { data?: T; error?: unknown }): T {
  if (a.data === undefined) {
    console.log(what, "failed", JSON.stringify(a.error));
    process.exit(1);
  }
  return a.data;
}

async function byFetch() {
  const c = createClient<paths, `application/${string}json`>({ baseUrl: site, querySerializer: { array: { style: "form", explode: false } } });
  must("clay", await c.PUT("/v1/clays/{clay}", { params: { path: { clay: "tern" } }, body: { name: "Tern stoneware", matures_cone: "6" } }));
  must("bar", await c.PUT("/v1/bars/{bar}", { params: { path: { bar: "AA" } }, body: { id: bar, clay: "tern" } }));
  const r = must("reading", await c.PUT("/v1/bars/{bar}/readings/{id}", { params: { path: { bar: "AA", id: first } }, body: { stage: "wet", length: "3 15/16", unit: "in", by: "KT" } }));
  console.log("reading", r.length_mm);
  const rate = must("rate", await c.GET("/v1/clays/{clay}/shrinkage", { params: { path: { clay: "tern" } } }));
  console.log("rate", rate.clay, rate.trust);
  const lid = must("lid", await c.GET("/v1/lid", { params: { query: { collar: ["96mm", "96mm"], body_drying_ratio: "0.06", body_firing_ratio: "0.07", play_mm: "1.5" } } }));
  console.log("lid", lid.unrounded_mm, lid.asked.collar_mm?.length);
  const wrong = await c.GET("/v1/lid", { params: { query: { collar: ["96mm"], clay: "owl" } } });
  console.log("problem", wrong.error?.type);
}

async function byHey() {
  client.setConfig({ baseUrl: site });
  const r = must("reading", await hey.putReading({ path: { bar: "AA", id: second }, body: { stage: "dry", length: "94.2", unit: "mm", by: "KT" } }));
  console.log("reading", r.length_mm);
  const rate = must("rate", await hey.shrinkage({ path: { clay: "tern" } }));
  console.log("rate", rate.clay, rate.trust);
  const lid = must("lid", await hey.lid({ query: { collar: ["96mm"], body_drying_ratio: "0.06", body_firing_ratio: "0.07", play_mm: "1.5" } }));
  console.log("lid", lid.unrounded_mm);
}

byFetch().then(byHey);
