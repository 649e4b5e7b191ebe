using FluentValidation;
using Hl7.Fhir.Model;
using Microsoft.IdentityModel.Tokens;
using RehabRecords.Fhir;
using RehabRecords.Host;
using RehabRecords.Notes;
using RehabRecords.Trade;

namespace RehabRecords.Documents;

/// <summary>The life cycle of notes and other documents over /api.</summary>
public static class DocumentEndpoints
{
    public static void AddDocuments(this IServiceCollection services)
    {
        services.AddScoped<DocumentKinds>();
        services.AddSingleton(s => new SigningKeys(s.GetRequiredService<Settings>().DataFolder, s.GetRequiredService<Settings>().SigningKeyFile));
        services.AddScoped<SignDocument>();
        services.AddScoped<SignatureCheck>();
        services.AddScoped<Reviews>();
        services.AddScoped<EditNote>();
        services.AddScoped<RefreshNote>();
        services.AddScoped<SignNote>();
        services.AddScoped<AmendNote>();
        services.AddScoped<NoteVersions>();
        services.AddScoped<Changing>();
        services.AddSingleton<IValidator<AcceptanceRequest>, AcceptanceRules>();
        services.AddSingleton<IValidator<EditRequest>, EditRules>();
        services.AddSingleton<IValidator<RemovalRequest>, RemovalRules>();
        services.AddSingleton<IValidator<RestorationRequest>, RestorationRules>();
        services.AddSingleton<IValidator<OwnStatementRequest>, OwnStatementRules>();
        services.AddSingleton<IValidator<RefreshRequest>, RefreshRules>();
        services.AddSingleton<IValidator<SignatureRequest>, SignatureRules>();
        services.AddSingleton<IValidator<AmendmentRequest>, AmendmentRules>();
    }

    private const string NeedsIfMatch = " Needs `If-Match` with the note's version, as `W/\"3\"`: 428 without it; 412 when somebody else changed the note meanwhile, with each statement that differs.";

    public static void MapDocuments(this IEndpointRouteBuilder routes)
    {
        var notes = routes.MapGroup("/api/notes/{id}").WithTags("Notes");
        notes.MapPost("acceptance", (string id, Posted<AcceptanceRequest> posted, EditNote edit, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => edit.AcceptAsync(set, id, seen, posted.Body, cancel), ct))
            .Changes("note-acceptance").WithSummary("Accept drafted statements")
            .WithDescription("Notes that a clinician has read the drafted words and lets them stand: those named, or all that nobody has touched. "
                + "A statement that needs a look is confirmed as it stands." + NeedsIfMatch);
        notes.MapPost("statements", (string id, Posted<OwnStatementRequest> posted, EditNote edit, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => edit.AddAsync(set, id, seen, posted.Body, cancel), ct))
            .Changes("note-statement").WithSummary("Add a statement of one's own")
            .WithDescription("It stays marked as the clinician's, with or without evidence." + NeedsIfMatch);
        notes.MapPost("statements/{statement}/text", (string id, string statement, Posted<EditRequest> posted, EditNote edit, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => edit.EditAsync(set, id, seen, statement, posted.Body, cancel), ct))
            .Changes("note-text").WithSummary("Edit a statement")
            .WithDescription("The words become the clinician's; the drafted ones are kept beside them. A statement of an open red flag is not edited: the flag is cleared." + NeedsIfMatch);
        notes.MapPost("statements/{statement}/removal", (string id, string statement, Posted<RemovalRequest> posted, EditNote edit, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => edit.RemoveAsync(set, id, seen, statement, posted.Body, cancel), ct))
            .Changes("note-removal").WithSummary("Remove a statement")
            .WithDescription("That it was removed, by whom and why, stands in its place; the drafted words are kept. A statement of one's own goes; earlier versions keep it." + NeedsIfMatch);
        notes.MapPost("statements/{statement}/restoration", (string id, string statement, Posted<RestorationRequest> posted, EditNote edit, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => edit.RestoreAsync(set, id, seen, statement, posted.Body, cancel), ct))
            .Changes("note-restoration").WithSummary("Go back to the drafted words").WithDescription("Undoes an acceptance, an edit or a removal." + NeedsIfMatch);
        notes.MapPost("refresh", (string id, Posted<RefreshRequest> posted, RefreshNote refresh, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => refresh.RunAsync(set, id, seen, posted.Body, cancel), ct))
            .Changes("note-refresh").WithSummary("Draft anew and keep the edits")
            .WithDescription("Puts the draft that the record gives now under what clinicians did: edits, removals and own statements stay; where what was drafted under an edit has changed, "
                + "the statement needs a look. An amendment is not refreshed." + NeedsIfMatch);
        notes.MapPost("signature", (string id, Posted<SignatureRequest> posted, SignNote sign, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.SignAsync(http, id, posted, sign.SignAsync, ct))
            .Answers<SignatureAnswer>(StatusCodes.Status200OK).Refuses().ProducesProblem(412).ProducesProblem(428).WithExample("note-signature").WithSummary("Sign a note")
            .WithDescription("A registered clinician's signature makes the note final: the document is frozen, hashed and signed. That of a student or support worker, or of anybody without "
                + "a registration number, makes it wait for a countersignature. Refused (409) while the draft is stale or statements need a look, unless the reason is given." + NeedsIfMatch);
        notes.MapPost("countersignature", (string id, Posted<SignatureRequest> posted, SignNote sign, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.SignAsync(http, id, posted, sign.CountersignAsync, ct))
            .Answers<SignatureAnswer>(StatusCodes.Status200OK).Refuses().ProducesProblem(412).ProducesProblem(428).WithExample("note-countersignature").WithSummary("Countersign a note")
            .WithDescription("By another person, who is registered. The note becomes final." + NeedsIfMatch);
        notes.MapGet("signature", ReadSignatureAsync).Refuses().WithSummary("Read and check a signature")
            .WithDescription("Who signed, when, what exactly (the SHA-256 of the frozen document), the JWS, and whether all of it still fits: document, hash, signature and the stored note.");
        notes.MapPost("signature/verification", VerifyAsync).Refuses().Produces<SignatureView>().Accepts<string>(FrozenDocument.MediaType).WithSummary("Check a copy of a signed document")
            .WithDescription("The body is the document as it was received, byte for byte; the answer says whether it is the one that was signed. Nothing is stored.");
        notes.MapPost("amendments", (string id, Posted<AmendmentRequest> posted, AmendNote amend, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => amend.BeginAsync(set, id, seen, posted.Body, cancel), ct, StatusCodes.Status201Created))
            .Answers<NoteView>(StatusCodes.Status201Created).Refuses().ProducesProblem(412).ProducesProblem(428).WithExample("note-amendment").WithSummary("Amend a signed note")
            .WithDescription("Begins a new version with the statements of the signed one, to be edited and signed like any draft; once signed it replaces the old one, which stays as it was signed." + NeedsIfMatch);
        notes.MapPost("entered-in-error", (string id, Posted<AmendmentRequest> posted, AmendNote amend, Changing changing, HttpContext http, CancellationToken ct) =>
                changing.RunAsync(http, id, posted.Key, (set, seen, cancel) => amend.WithdrawAsync(set, id, seen, posted.Body, cancel), ct))
            .Changes("note-entered-in-error").WithSummary("Withdraw a note")
            .WithDescription("For a note of the wrong person, or one that should never have been. It stays readable, marked as entered in error, with the reason; the frozen document stays too." + NeedsIfMatch);
        notes.MapGet("versions", (string id, NoteVersions versions, CancellationToken ct) => versions.ListAsync(id, ct)).Refuses().WithSummary("List the versions of a note")
            .WithDescription("Oldest first, with its amendments, which are notes of their own.");
        notes.MapGet("versions/{version:int}", async (string id, int version, NoteVersions versions, CancellationToken ct) =>
            {
                var (note, kind) = await versions.AtAsync(id, version, ct);
                return NoteView.Of(note, kind);
            }).Refuses().WithSummary("Read a version of a note").WithDescription("As it stood then.");
        notes.MapGet("differences", (string id, string? from, string? to, NoteVersions versions, CancellationToken ct) => versions.CompareAsync(id, from, to, ct)).Refuses().ProducesProblem(400)
            .WithSummary("Compare two versions of a note")
            .WithDescription("Statement by statement, and word by word where words changed. `from` and `to` are numbers of versions, or note/number for one of an amendment; "
                + "left out, what is current is compared with what it amends or with the version before.");
        routes.MapGet("/api/signing-keys", (SigningKeys keys) => TypedResults.Json(new { keys = keys.PublicKeys.Keys.Select(PublicKey.Of) }, TradeJson.Options, "application/jwk-set+json"))
            .WithTags("Notes").WithSummary("List the public keys of signatures")
            .WithDescription("A JSON Web Key Set (RFC 7517) with every key this service ever signed with; `kid` is in the header of each signature.");
    }

    private static RouteHandlerBuilder Changes(this RouteHandlerBuilder route, string example) =>
        route.Answers<NoteView>(StatusCodes.Status200OK).Refuses().ProducesProblem(412).ProducesProblem(428).WithExample(example);

    private static async Task<SignatureView> ReadSignatureAsync(string id, SignatureCheck check, CancellationToken ct) => await check.CheckAsync(await SignatureOfAsync(id, check, ct), null, ct);

    private static async Task<SignatureView> VerifyAsync(string id, HttpRequest request, SignatureCheck check, Settings settings, CancellationToken ct)
    {
        var signature = await SignatureOfAsync(id, check, ct);
        request.HttpContext.Features.Get<Microsoft.AspNetCore.Http.Features.IHttpMaxRequestBodySizeFeature>()!.MaxRequestBodySize = settings.Limits.BundleBytes;
        using var held = new MemoryStream();
        await request.Body.CopyToAsync(held, ct);
        return await check.CheckAsync(signature, held.ToArray(), ct);
    }

    private static async Task<Provenance> SignatureOfAsync(string id, SignatureCheck check, CancellationToken ct) =>
        (Rules.IsId(id) ? await check.OfAsync(id, ct) : null)
        ?? throw new RefusedException(Refusal.NotFound, OperationOutcome.IssueType.NotFound, $"There is no signature under a note '{Rules.Shown(id)}'; GET /api/notes/{{id}} tells whether it is signed.", "id");

    /// <summary>What of a key may be known.</summary>
    private sealed record PublicKey(string Kty, string Crv, string X, string Y, string Kid, string Alg, string Use)
    {
        public static PublicKey Of(JsonWebKey key) => new(key.Kty, key.Crv, key.X, key.Y, key.Kid, key.Alg, key.Use);
    }
}
