using System.Collections.Concurrent;
using Hl7.Fhir.Model;
using RehabRecords.Fhir;
using RehabRecords.Fhir.Store;

namespace RehabRecords.Tests.Fhir.Store;

public abstract partial class RecordStoreContract
{
    [Fact]
    public async Task Sixteen_writers_on_one_resource_lose_no_update()
    {
        var patient = Samples.Person();
        await Store.CreateAsync(patient);
        var acknowledged = new ConcurrentBag<string>();
        await Task.WhenAll(Enumerable.Range(0, 16).Select(writer => Task.Run(async () =>
        {
            for (var done = 0; done < 8;)
            {
                var (mine, version) = (await Store.GetAsync<Patient>(patient.Id!))!.Value;
                var token = $"{writer}-{done}";
                mine.Name.Add(new HumanName { Family = token });
                try
                {
                    await Store.UpdateAsync(mine, version);
                    acknowledged.Add(token);
                    done++;
                }
                catch (RefusedException e) when (e.Refusal == Refusal.StaleVersion)
                {
                }
            }
        })));

        var (final, last) = (await Store.GetAsync<Patient>(patient.Id!))!.Value;
        Assert.Equal(acknowledged.Order(StringComparer.Ordinal), final.Name.Skip(1).Select(n => n.Family).Order(StringComparer.Ordinal));
        Assert.Equal(1 + (16 * 8), last);
        var history = (await Store.HistoryAsync("Patient", patient.Id!)).Reverse().ToList();
        Assert.Equal(Enumerable.Range(1, last), history.Select(h => h.Version));
        Assert.Equal(history.Select(h => h.Sequence).Order(), history.Select(h => h.Sequence));
    }

    [Fact]
    public async Task Several_queries_are_of_one_moment_though_something_is_stored_between_them()
    {
        var person = (await Store.CreateAsync(Samples.Person())).Id;
        await Store.CreateAsync(Samples.Result(person, 40));
        var stored = false;
        var view = Store.View(seen: version =>
        {
            if (version.Type != "Patient" || stored)
                return;
            stored = true;
            Task.Run(() => Store.CreateAsync(Samples.Result(person, 30))).GetAwaiter().GetResult();
        });
        (string, string)[] queries = [("Patient", $"_id={person}"), ("Observation", $"subject=Patient/{person}")];

        Assert.Equal([1, 1], (await view.FindAsync(queries)).Select(found => found.Count));
        Assert.True(stored);
        Assert.Equal([1, 2], (await view.FindAsync(queries)).Select(found => found.Count));
    }

    [Fact]
    public async Task Ten_identical_posts_at_once_store_one_and_answer_all_alike()
    {
        var results = await Task.WhenAll(Enumerable.Range(0, 10).Select(n => Task.Run(() =>
        {
            var set = new WriteSet { Key = Samples.Key() };
            var patient = set.Create(Samples.Person());
            set.Answer = new StoredAnswer(201, $"Patient/{patient.Id!}", System.Text.Encoding.UTF8.GetBytes($"body {n}"));
            return Store.CommitAsync(set);
        })));

        var winner = Assert.Single(results, r => !r.WasRepeat);
        var stored = Assert.Single(await Store.FindAsync("Patient", ""));
        Assert.Equal(winner.Written[0].Id, stored.Id);
        var answer = (await Store.AnswerOfAsync(Samples.Key()))!;
        Assert.All(results.Where(r => r.WasRepeat), r =>
        {
            Assert.Empty(r.Written);
            Assert.Equal((201, $"Patient/{stored.Id}"), (r.EarlierAnswer!.Status, r.EarlierAnswer.Location));
            Assert.Equal(answer.Body.ToArray(), r.EarlierAnswer.Body.ToArray());
        });
    }

    [Fact]
    public async Task One_of_many_who_claim_an_identifier_at_once_gets_it_and_the_others_hear_who_did()
    {
        for (var round = 0; round < 20; round++)
        {
            var outcomes = await Task.WhenAll(Enumerable.Range(0, 16).Select(_ => Task.Run(async () =>
            {
                try
                {
                    return (Winner: (string?)(await Store.CreateAsync(Samples.Person($"shared {round}"))).Id, Says: "");
                }
                catch (RefusedException e) when (e.Refusal == Refusal.Conflict)
                {
                    return (Winner: null, Says: e.Message);
                }
            })));
            var winner = Assert.Single(outcomes, o => o.Winner is not null).Winner!;
            Assert.All(outcomes.Where(o => o.Winner is null), o => Assert.Contains($"already held by Patient/{winner}", o.Says, StringComparison.Ordinal));
            Assert.Equal(winner, await Store.HolderOfAsync("Patient", Samples.System, $"shared {round}"));
        }

        Assert.Equal(20, (await Store.FindAsync("Patient", "")).Count);
    }

    [Fact]
    public async Task Commits_of_many_at_once_have_one_order_and_no_number_twice()
    {
        var written = new ConcurrentBag<RecordVersion>();
        await Task.WhenAll(Enumerable.Range(0, 16).Select(_ => Task.Run(async () =>
        {
            var last = 0L;
            for (var i = 0; i < 20; i++)
            {
                var mine = await Store.CreateAsync(Samples.Person());
                Assert.True(mine.Sequence > last, "A later commit of the same caller has a later number.");
                last = mine.Sequence;
                written.Add(mine);
            }
        })));
        Assert.Equal(320, written.Select(w => w.Sequence).Distinct().Count());
        Assert.Equal(320, (await Store.FindAsync("Patient", "")).Count);
    }

    [Fact]
    public async Task Readers_see_all_of_a_set_or_none_of_it()
    {
        using var stop = new CancellationTokenSource();
        var reader = Task.Run(async () =>
        {
            var seen = 0;
            while (!stop.IsCancellationRequested)
            {
                var found = await Store.FindAllAsync<Observation>("code=pegs");
                Assert.All(found.GroupBy(f => f.Subject!.Reference), g => Assert.Equal(5, g.Count()));
                seen++;
            }

            return seen;
        });
        for (var i = 0; i < 60; i++)
        {
            var set = new WriteSet();
            for (var k = 0; k < 5; k++)
                set.Create(Samples.Result($"p{i}", k));
            await Store.CommitAsync(set);
        }

        await stop.CancelAsync();
        Assert.True(await reader > 0);
        Assert.Equal(300, (await Store.FindAsync("Observation", "")).Count);
    }

    [Fact]
    public async Task A_key_used_again_with_another_body_is_refused_but_not_for_another_client()
    {
        async Task<CommitResult> Post(IdempotencyKey key)
        {
            var set = new WriteSet { Key = key, Answer = new StoredAnswer(201, "there", default) };
            set.Create(Samples.Person());
            return await Store.CommitAsync(set);
        }

        await Post(Samples.Key(client: "notes one"));
        var refused = await Assert.ThrowsAsync<RefusedException>(() => Post(Samples.Key(hash: "bb", client: "notes one")));
        Assert.Equal(Refusal.KeyReused, refused.Refusal);
        await Assert.ThrowsAsync<RefusedException>(() => Store.AnswerOfAsync(Samples.Key(hash: "bb", client: "notes one")));
        Assert.False((await Post(Samples.Key(client: "another"))).WasRepeat);
        Assert.True((await Post(Samples.Key(client: "notes one"))).WasRepeat);

        // Of clients whose names begin so, and of those alone.
        Assert.Equal(0, await Store.ForgetAnswersAsync("note", Noon.AddDays(1)));
        Assert.Equal(0, await Store.ForgetAnswersAsync("notes", Noon.AddDays(-1)));
        Assert.Equal(1, await Store.ForgetAnswersAsync("notes", Noon.AddDays(1)));
        Assert.Null(await Store.AnswerOfAsync(Samples.Key(client: "notes one")));
        Assert.NotNull(await Store.AnswerOfAsync(Samples.Key(client: "another")));
    }

    [Fact]
    public async Task A_repeated_post_is_answered_even_when_its_resource_has_moved_on()
    {
        var patient = Samples.Person();
        await Store.CreateAsync(patient);
        WriteSet Post()
        {
            var set = new WriteSet { Key = Samples.Key(), Answer = new StoredAnswer(200, "there", default) };
            set.Update(patient, 1);
            return set;
        }

        await Store.CommitAsync(Post());
        Assert.True((await Store.CommitAsync(Post())).WasRepeat);
        Assert.Equal(2, (await Store.ReadAsync("Patient", patient.Id!))!.Version);
    }

    [Fact]
    public async Task An_identifier_is_free_again_once_its_resource_lets_go_of_it()
    {
        var (one, two) = (Samples.Person("a"), Samples.Person("b"));
        await Store.CreateAsync(one);
        await Store.CreateAsync(two);

        var swap = new WriteSet();
        (one.Identifier, two.Identifier) = (two.Identifier, one.Identifier);
        swap.Update(one, 1);
        swap.Update(two, 1);
        await Store.CommitAsync(swap);
        Assert.Equal((two.Id!, one.Id!), (await Store.HolderOfAsync("Patient", Samples.System, "a"), await Store.HolderOfAsync("Patient", Samples.System, "b")));

        one.Identifier = [];
        await Store.UpdateAsync(one, 2);
        await Store.DeleteAsync("Patient", two.Id!, 2);
        await Store.CreateAsync(Samples.Person("a"));
        await Store.CreateAsync(Samples.Person("b"));
        var refused = await Assert.ThrowsAsync<RefusedException>(() => Store.UpdateAsync(WithIdentifier(two, "a"), 3));
        Assert.Equal(Refusal.Conflict, refused.Refusal);
    }

    [Fact]
    public async Task The_same_identifier_may_be_held_by_resources_of_two_types_and_needs_a_system_to_be_held_at_all()
    {
        await Store.CreateAsync(Samples.Person("1"));
        await Store.CreateAsync(new Practitioner { Identifier = [new Identifier(Samples.System, "1")] });
        await Store.CreateAsync(new Patient { Identifier = [new Identifier { Value = "1" }] });
        await Store.CreateAsync(new Patient { Identifier = [new Identifier { Value = "1" }] });
        Assert.Equal(3, (await Store.FindAsync("Patient", "identifier=1")).Count);
    }

    [Fact]
    public async Task A_request_given_up_before_its_turn_stores_nothing()
    {
        using var given = new CancellationTokenSource();
        await given.CancelAsync();
        var set = new WriteSet();
        set.Create(Samples.Person());
        await Assert.ThrowsAnyAsync<OperationCanceledException>(() => Store.CommitAsync(set, given.Token));
        Assert.Empty(await Store.FindAsync("Patient", ""));
    }

    private static Patient WithIdentifier(Patient patient, string value)
    {
        patient.Identifier = [new Identifier(Samples.System, value)];
        return patient;
    }
}
