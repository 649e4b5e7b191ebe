using System.Net;
using System.Security.Cryptography;
using System.Text;
using System.Text.Json.Nodes;
using Hl7.Fhir.Model;
using RehabRecords.Documents;
using RehabRecords.Fhir.Parsing;
using RehabRecords.Tests.Trade;
using static RehabRecords.Tests.Documents.LifeCycle;

namespace RehabRecords.Tests.Documents;

/// <summary>Signing, countersigning, what is frozen, and that it stays so.</summary>
public sealed class SigningTests(TradeApp app) : IClassFixture<TradeApp>
{
    [Fact]
    public async Task A_signature_makes_the_note_final_and_freezes_the_very_bytes_that_are_served()
    {
        var (note, of) = await app.DraftAsync();
        var answer = await app.DoneAsync($"/api/notes/{note}/signature", By(Physio), await app.VersionAsync(note));
        Assert.Equal("signed", (string)answer["note"]!["stage"]!);
        Assert.Equal("final", (string)answer["note"]!["status"]!);
        Assert.DoesNotContain("(draft)", (string)answer["note"]!["title"]!);
        Assert.DoesNotContain("DRAFT", (string)answer["note"]!["text"]!);
        Assert.StartsWith("Rowan Invented", (string)answer["note"]!["signatures"]![0]!["by"]!);

        var (bytes, _) = await app.BytesAsync($"/fhir/{(string)answer["document"]!}");
        Assert.Equal((string)answer["sha256"]!, Convert.ToHexStringLower(SHA256.HashData(bytes)));
        var document = Assert.IsType<Bundle>(ResourceReader.Read(bytes, FhirFormat.Json));
        Assert.Equal((string)answer["identifier"]!, document.Identifier!.Value);
        Assert.Equal(document.Meta!.LastUpdated, document.Timestamp);
        Assert.Empty(TestApp.SharedValidator.Validate(document).Where(i => i.Refuses).Select(i => $"{i.Expression}: {i.Message}"));
        // The Composition inside is the one in the record, byte for byte.
        var (composition, _) = await app.BytesAsync($"/fhir/{(string)answer["note"]!["composition"]!}");
        Assert.Equal(Encoding.UTF8.GetString(composition), Encoding.UTF8.GetString(ResourceWriter.Json(document.Entry[0].Resource!)));
        Assert.All(((Composition)document.Entry[0].Resource!).Section, s => Assert.Contains("Signed by Rowan Invented", s.Text!.Div));
        Assert.Contains("No red flag was open at signing.", ((Composition)document.Entry[0].Resource!).Text!.Div);

        using var request = new HttpRequestMessage(HttpMethod.Get, $"/api/notes/{note}");
        request.Headers.TryAddWithoutValidation("Accept", "application/fhir+json");
        using var served = await app.Http.SendAsync(request);
        Assert.Equal(bytes, await served.Content.ReadAsByteArrayAsync());

        var signature = await app.GetAsync($"/api/notes/{note}/signature");
        Assert.True((bool)signature["verdict"]!["genuine"]!, signature.ToJsonString());
        Assert.Equal((string)answer["sha256"]!, (string)signature["sha256"]!);

        // The next session begins the next note; the signed one does not know of it.
        var next = await app.SessionAsync(of, 12);
        Assert.NotEqual($"/api/notes/{note}", (string)next["note"]!["address"]!);
        Assert.Equal(bytes, (await app.BytesAsync($"/fhir/{(string)answer["document"]!}")).Bytes);
    }

    [Fact]
    public async Task Anybody_can_check_the_signature_with_the_public_key_and_a_changed_copy_is_found_out()
    {
        var (note, _) = await app.DraftAsync();
        var answer = await app.SignedAsync(note);
        var jws = ((string)(await app.GetAsync($"/api/notes/{note}/signature"))["jws"]!).Split('.');
        var key = (await app.GetAsync("/api/signing-keys"))["keys"]!.AsArray().Single(k => (string)k!["kid"]! == (string)JsonNode.Parse(Decode(jws[0]))!["kid"]!)!;
        Assert.Null(key["d"]);
        using var ecdsa = ECDsa.Create(new ECParameters { Curve = ECCurve.NamedCurves.nistP384, Q = new ECPoint { X = Decode((string)key["x"]!), Y = Decode((string)key["y"]!) } });
        Assert.Equal("ES384", (string)JsonNode.Parse(Decode(jws[0]))!["alg"]!);
        Assert.True(ecdsa.VerifyData(Encoding.ASCII.GetBytes($"{jws[0]}.{jws[1]}"), Decode(jws[2]), HashAlgorithmName.SHA384));
        Assert.Equal((string)answer["sha256"]!, (string)JsonNode.Parse(Decode(jws[1]))!["sha256"]!);

        var (bytes, _) = await app.BytesAsync($"/fhir/{(string)answer["document"]!}");
        Assert.True((bool)(await VerifyAsync(note, bytes))["verdict"]!["genuine"]!);
        for (var at = 0; at < bytes.Length; at += bytes.Length / 7)
        {
            var changed = (byte[])bytes.Clone();
            changed[at] ^= 1;
            var verdict = (await VerifyAsync(note, changed))["verdict"]!;
            Assert.False((bool)verdict["genuine"]!);
            Assert.Contains("it is not the document that was signed", (string)verdict["problems"]![0]!);
        }

        static byte[] Decode(string part) => Microsoft.IdentityModel.Tokens.Base64UrlEncoder.DecodeBytes(part);
    }

    [Fact]
    public async Task A_change_of_the_document_or_the_signature_beneath_the_service_is_found_out()
    {
        var (note, _) = await app.DraftAsync();
        var answer = await app.SignedAsync(note);
        var provenance = (await app.Service<SignatureCheck>().OfAsync(note))!;
        foreach (var (change, says) in new (Action<Provenance>, string)[]
        {
            (p => p.Signature[0].Data![^3] ^= 1, "was not made with a key of this service"),
            (p => p.SetStringExtension(RehabRecords.Terms.Extensions.DocumentHash, new string('a', 64)), "the SHA-256 beside the signature"),
            (p => p.Target[0].Reference = p.Target[0].Reference!.Replace("_history/2", "_history/1"), "the Composition named beside the signature"),
        })
        {
            var forged = (Provenance)provenance.DeepCopy();
            change(forged);
            var view = await app.Service<SignatureCheck>().CheckAsync(forged);
            Assert.False(view.Verdict.Genuine);
            Assert.Contains(view.Verdict.Problems, p => p.Contains(says, StringComparison.Ordinal));
        }
    }

    [Fact]
    public async Task The_private_key_is_for_the_owner_of_the_process_alone_and_stays_the_same()
    {
        var first = app.Service<SigningKeys>().KeyId;
        var file = Path.Combine(app.Folder, "signing", "private-key.pem");
        if (!OperatingSystem.IsWindows())
            Assert.Equal(UnixFileMode.UserRead | UnixFileMode.UserWrite, File.GetUnixFileMode(file));
        using var again = new SigningKeys(app.Folder);
        Assert.Equal(first, again.KeyId);
        using var other = ECDsa.Create(ECCurve.NamedCurves.nistP384);
        var given = Path.Combine(app.Folder, "given.pem");
        await File.WriteAllTextAsync(given, other.ExportPkcs8PrivateKeyPem());
        using var configured = new SigningKeys(app.Folder, given);
        Assert.NotEqual(first, configured.KeyId);
        // What was signed with the former key can still be checked.
        Assert.Contains(configured.PublicKeys.Keys, k => k.Kid == first);
        Assert.NotNull(await configured.OpenAsync(again.Sign("""{"sha256":"x"}""")));
        using var wrong = ECDsa.Create(ECCurve.NamedCurves.nistP256);
        await File.WriteAllTextAsync(given, wrong.ExportPkcs8PrivateKeyPem());
        using var refused = new SigningKeys(app.Folder, given);
        Assert.Contains("has 256 bits", Assert.Throws<InvalidOperationException>(() => refused.KeyId).Message);
    }

    [Fact]
    public async Task A_student_needs_a_countersignature_by_somebody_else_who_is_registered()
    {
        var (note, _) = await app.DraftAsync();
        var signed = await app.DoneAsync($"/api/notes/{note}/signature", By(Student), await app.VersionAsync(note));
        Assert.Equal("awaiting-countersignature", (string)signed["note"]!["stage"]!);
        Assert.Equal("preliminary", (string)signed["note"]!["status"]!);
        Assert.Null((string?)signed["document"]);
        Assert.StartsWith("DRAFT. Signed by its author; not valid before", (string)signed["note"]!["text"]!);
        var version = signed["note"]!.Version();
        var path = $"/api/notes/{note}/countersignature";
        Assert.Equal(HttpStatusCode.UnprocessableEntity, (await app.StepAsync(path, By(Student), version)).Status);
        Assert.Equal(HttpStatusCode.UnprocessableEntity, (await app.StepAsync(path, By(Physio.Replace("Rowan Invented", "Sorrel Pretend").Replace("1001", "1003")), version)).Status);
        Assert.Equal(HttpStatusCode.Conflict, (await app.StepAsync($"/api/notes/{note}/signature", By(Physio), version)).Status);

        // An edit withdraws the signature: the words are no longer those that were signed.
        var edited = await app.DoneAsync($"/api/notes/{note}/statements", By(Second, """, "section": "plan", "text": "Seen together." """), version);
        Assert.Equal("edited", (string)edited["stage"]!);
        Assert.Equal(HttpStatusCode.Conflict, (await app.StepAsync(path, By(Physio), edited.Version())).Status);

        var again = await app.DoneAsync($"/api/notes/{note}/signature", By(Student), edited.Version());
        var final = await app.DoneAsync(path, By(Physio), again["note"]!.Version());
        Assert.Equal("signed", (string)final["note"]!["stage"]!);
        Assert.Equal(["Sorrel Pretend, student physiotherapist", "Rowan Invented, physiotherapist, registration INV-1001 (Register of Invented Professions)"],
            final["note"]!["signatures"]!.AsArray().Select(s => (string)s!["by"]!));
        var check = await app.GetAsync($"/api/notes/{note}/signature");
        Assert.True((bool)check["verdict"]!["genuine"]!, check.ToJsonString());
        Assert.Equal(2, check["by"]!.AsArray().Count);
    }

    [Fact]
    public async Task A_stale_draft_or_one_that_needs_a_look_is_signed_only_with_a_reason_which_stands_in_the_document()
    {
        var (note, of) = await app.DraftAsync();
        var edited = await app.DoneAsync($"/api/notes/{note}/statements/adherence/text", By(Physio, """, "text": "My words." """), await app.VersionAsync(note));
        await app.SessionAsync(of, 12);
        var path = $"/api/notes/{note}/signature";
        var (status, body, _) = await app.StepAsync(path, By(Physio), edited.Version());
        Assert.Equal(HttpStatusCode.Conflict, status);
        Assert.Equal("althoughStale", (string)body["errors"]![0]!["field"]!);
        Assert.Contains(body["errors"]!.AsArray(), e => (string?)e!["field"] == "adherence");

        var refreshed = await app.DoneAsync($"/api/notes/{note}/refresh", By(Physio), edited.Version());
        (status, body, _) = await app.StepAsync(path, By(Physio), refreshed.Version());
        Assert.Equal(HttpStatusCode.Conflict, status);
        Assert.Equal("althoughUnresolved", (string)body["errors"]![0]!["field"]!);

        var signed = await app.DoneAsync(path, By(Physio, """, "althoughUnresolved": "My words hold for both weeks." """), refreshed.Version());
        var (bytes, _) = await app.BytesAsync($"/fhir/{(string)signed["document"]!}");
        Assert.Contains("My words hold for both weeks.", ((Composition)((Bundle)ResourceReader.Read(bytes, FhirFormat.Json)).Entry[0].Resource!).Text!.Div);
        Assert.Contains(((await app.GetAsync(path))["said"]!.AsArray()), s => ((string)s!).Contains("My words hold for both weeks."));
    }

    [Fact]
    public async Task An_open_red_flag_is_said_in_what_is_signed()
    {
        var of = await app.ProgrammeAsync();
        var answer = await app.PostAsync("/api/sessions", TradeApp.Session(of, ("redFlags", """["chest-pain"]""")));
        var note = ((string)answer["note"]!["address"]!).Split('/')[^1];
        var signed = await app.SignedAsync(note);
        Assert.Equal("chest-pain", (string)signed["redFlags"]![0]!["code"]!);
        Assert.Contains("Red flags open at signing: Chest pain", (string)(await app.GetAsync($"/api/notes/{note}/signature"))["said"]!.AsArray()[^1]!);
    }

    [Fact]
    public async Task The_same_key_sent_twice_signs_once_and_answers_the_same_hash()
    {
        var (note, _) = await app.DraftAsync();
        var version = await app.VersionAsync(note);
        var answers = new List<string>();
        for (var i = 0; i < 2; i++)
        {
            using var request = new HttpRequestMessage(HttpMethod.Post, $"/api/notes/{note}/signature") { Content = TestApp.Json(By(Physio)) };
            request.Headers.TryAddWithoutValidation("If-Match", $"W/\"{version}\"");
            request.Headers.TryAddWithoutValidation("Idempotency-Key", $"sign-{note}");
            using var response = await app.Http.SendAsync(request);
            answers.Add(await response.Content.ReadAsStringAsync());
            Assert.True(response.IsSuccessStatusCode, answers[^1]);
        }

        Assert.Equal(answers[0], answers[1]);
        Assert.Matches("^[0-9a-f]{64}$", (string)JsonNode.Parse(answers[0])!["sha256"]!);
    }

    [Fact]
    public async Task What_is_signed_cannot_be_changed_by_the_FHIR_interface_either()
    {
        var (note, _) = await app.DraftAsync();
        var answer = await app.SignedAsync(note);
        var provenance = (string)(await app.GetAsync($"/api/notes/{note}/signature"))["provenance"]!;
        foreach (var address in new[] { $"Composition/{note}", (string)answer["document"]!, provenance })
        {
            var (bytes, tag) = await app.BytesAsync($"/fhir/{address}");
            var before = app.State();
            foreach (var method in new[] { HttpMethod.Put, HttpMethod.Delete })
            {
                using var request = new HttpRequestMessage(method, $"/fhir/{address}");
                request.Headers.TryAddWithoutValidation("If-Match", tag);
                if (method == HttpMethod.Put)
                    request.Content = TestApp.Json(Encoding.UTF8.GetString(bytes), "application/fhir+json");
                using var response = await app.Http.SendAsync(request);
                var text = await response.Content.ReadAsStringAsync();
                Assert.True(response.StatusCode == HttpStatusCode.Conflict, $"{method} {address} answered {(int)response.StatusCode}: {text}");
                Assert.Contains("never changes", text.Replace("is not changed and not deleted", "never changes").Replace("never changes once", "never changes"));
            }

            Assert.Equal(before, app.State());
            Assert.Equal(bytes, (await app.BytesAsync($"/fhir/{address}")).Bytes);
        }
    }

    private async Task<JsonNode> VerifyAsync(string note, byte[] copy)
    {
        using var content = new ByteArrayContent(copy);
        content.Headers.ContentType = new("application/fhir+json");
        using var response = await app.Http.PostAsync($"/api/notes/{note}/signature/verification", content);
        var text = await response.Content.ReadAsStringAsync();
        Assert.True(response.IsSuccessStatusCode, text);
        return JsonNode.Parse(text)!;
    }
}
